#include "apps/workbench/shot_calls.h"

#include <algorithm>
#include <cstddef>
#include <optional>

#include <fmt/format.h>

#include "apps/workbench/edit_json.h"
#include "base/user_error.h"
#include "compose/finish/level.h"

namespace seamwright::workbench {

using nlohmann::json;

namespace {

const json* member(const json& object, const char* key) {
  return object.is_object() && object.contains(key) ? &object.at(key) : nullptr;
}

Result<int> whole(const json& object, const char* key, int limit) {
  const json* value = member(object, key);
  if (value != nullptr && value->is_number_integer()) {
    const auto number = value->get<long long>();
    if (number >= 0 && number < limit) return static_cast<int>(number);
  }
  return fail(option_error(key, "is no number of what is there", "read the shot again"));
}

Result<Vec2> place(const json* value, const char* key) {
  if (value != nullptr && value->is_array() && value->size() == 2 && (*value)[0].is_number() &&
      (*value)[1].is_number()) {
    return Vec2((*value)[0].get<double>(), (*value)[1].get<double>());
  }
  return fail(option_error(key, "is no pair of numbers", "docs/workbench-api.md has the form"));
}

constexpr int kMostId = 1'000'000'000;

}  // namespace

json ShotCalls::list() {
  const std::lock_guard lock(mutex_);
  json shots = json::array();
  for (std::size_t i = 0; i < shots_.size(); ++i) {
    const auto open = opened_.find(static_cast<int>(i));
    std::error_code ignored;
    const bool has_file = std::filesystem::exists(shots_[i].shot_file, ignored);
    const bool has_edits =
        std::filesystem::exists(Session::journal_of(shots_[i].shot_file), ignored);
    shots.push_back({{"name", shots_[i].name},
                     {"has_file", has_file},
                     {"has_edits", has_edits},
                     {"open", open != opened_.end()},
                     {"unsaved", open != opened_.end() && open->second->session().unsaved()},
                     {"check", check_.result(static_cast<int>(i))}});
  }
  return {{"shots", std::move(shots)}, {"order", check_.order()}};
}

json ShotCalls::start_check() {
  check_.start();
  return check_.status();
}

json ShotCalls::stop_check() {
  check_.cancel();
  return check_.status();
}

Result<std::string> ShotCalls::picture(int shot) const {
  std::string jpeg = check_.picture(shot);
  if (!jpeg.empty()) return jpeg;
  return fail(option_error("picture", "there is none of this shot", "check the shots first"));
}

Result<EditedShot*> ShotCalls::opened(int shot) {
  if (shot < 0 || shot >= static_cast<int>(shots_.size())) {
    return fail(
        option_error("shot", fmt::format("there is no shot {}", shot), "read the list again"));
  }
  const ShotEntry& entry = shots_[static_cast<std::size_t>(shot)];
  if (const auto found = opened_.find(shot); found != opened_.end()) {
    // Another program had the shot; it may have let go, and what it did is shown in any case.
    if (found->second->session().shut_out()) {
      auto again = EditedShot::open(found->second->desk(), entry.shot_file);
      if (!again) return tl::unexpected(again.error());
      found->second = std::move(*again);
    }
    return found->second.get();
  }
  auto opened = open_shot_(entry);
  if (!opened) return tl::unexpected(opened.error());
  auto desk = Desk::make(std::move(*opened));
  if (!desk) return tl::unexpected(desk.error());
  auto work = EditedShot::open(std::move(*desk), entry.shot_file);
  if (!work) return tl::unexpected(work.error());
  if (order_.size() >= kMostOpen) {
    opened_.erase(order_.front());
    order_.erase(order_.begin());
  }
  order_.push_back(shot);
  return (opened_[shot] = std::move(*work)).get();
}

json ShotCalls::view_of(int shot, const EditedShot& work) const {
  json view = work.view();
  view["shot"] = shot;
  view["name"] = shots_[static_cast<std::size_t>(shot)].name;
  return view;
}

Result<json> ShotCalls::view(int shot) {
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  return view_of(shot, **open);
}

Result<json> ShotCalls::edited(int shot, EditedShot& work, const Edit& edit) {
  if (auto done = work.edit(edit); !done) return tl::unexpected(done.error());
  return view_of(shot, work);
}

Result<json> ShotCalls::edit(int shot, const json& edit) {
  const auto known = edit_of(edit);
  if (!known) return tl::unexpected(known.error());
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  return edited(shot, **open, *known);
}

Result<json> ShotCalls::step(int shot, const std::string& what) {
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  const auto done = what == "undo"   ? (*open)->undo()
                    : what == "redo" ? (*open)->redo()
                                     : (*open)->save();
  if (!done) return tl::unexpected(done.error());
  if (what == "save") check_.forget(shot);
  return view_of(shot, **open);
}

Result<json> ShotCalls::match(int shot, const json& click) {
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  const Desk& desk = *(*open)->desk();
  const auto pair = whole(click, "pair", static_cast<int>(desk.pairs().size()));
  if (!pair) return tl::unexpected(pair.error());
  const auto lens = whole(click, "lens", desk.rig().lens_count());
  if (!lens) return tl::unexpected(lens.error());
  const auto at = place(member(click, "at"), "at");
  if (!at) return tl::unexpected(at.error());
  const PairOverlap& overlap = desk.pairs()[static_cast<std::size_t>(*pair)];
  if (*lens != overlap.lens_a && *lens != overlap.lens_b) {
    return fail(option_error("lens", "is not of this pair", "read the shot again"));
  }
  const auto found = desk.match(static_cast<std::size_t>(*pair), *lens, *at);
  if (!found) {
    return fail(option_error("at", "nothing alike was found in the other lens",
                             "click a corner or a clear mark that both lenses see"));
  }
  auto view = edited(shot, **open, AddTie{found->tie});
  if (!view) return view;
  (*view)["added"] = {{"id", (*view)["ties"].back()["id"]},
                      {"ncc", found->found.match.ncc},
                      {"refined", found->found.refined},
                      {"unsure", found->found.unsure}};
  return view;
}

Result<json> ShotCalls::move(int shot, const json& target) {
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  const Desk& desk = *(*open)->desk();
  const auto id = whole(target, "id", kMostId);
  if (!id) return tl::unexpected(id.error());
  const auto lens = whole(target, "lens", desk.rig().lens_count());
  if (!lens) return tl::unexpected(lens.error());
  const auto at = place(member(target, "at"), "at");
  if (!at) return tl::unexpected(at.error());
  const EditedTie* tie = (*open)->session().state().find(*id);
  const auto pair = tie != nullptr ? desk.pair_of(tie->tie) : std::nullopt;
  const auto px = pair ? desk.frame_px(*pair, *lens, *at) : std::nullopt;
  if (!px) {
    return fail(option_error("at", "the lens does not see that place", "stay inside the strip"));
  }
  ManualTie moved = tie->tie;
  for (ManualSight& sight : moved.sights) {
    if (sight.lens == *lens) sight.px = *px;
  }
  return edited(shot, **open, ChangeTie{*id, moved});
}

Result<json> ShotCalls::draw(int shot, const json& drawn) {
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  const Desk& desk = *(*open)->desk();
  const auto pair = whole(drawn, "pair", static_cast<int>(desk.pairs().size()));
  if (!pair) return tl::unexpected(pair.error());
  const RibbonGrid& grid = desk.pairs()[static_cast<std::size_t>(*pair)].grid;
  const json* reach = member(drawn, "reach_px");
  const json* path = member(drawn, "path");
  const json* wish = member(drawn, "wish");
  if (reach == nullptr || !reach->is_number() || path == nullptr || !path->is_array() ||
      wish == nullptr) {
    return fail(option_error("stroke", "wish, reach_px or path is missing",
                             "docs/workbench-api.md has the form"));
  }
  json places = json::array();
  for (const json& one : *path) {
    const auto at = place(&one, "path");
    if (!at) return tl::unexpected(at.error());
    const PanoramaPlace on_panorama = place_of(grid.direction(*at));
    places.push_back({on_panorama.longitude_rad, on_panorama.latitude_rad});
  }
  const json* lens = member(drawn, "lens");
  const auto edit = edit_of({{"kind", "add-stroke"},
                             {"stroke",
                              {{"wish", *wish},
                               {"lens", lens != nullptr ? *lens : json(0)},
                               {"reach_rad", reach->get<double>() / grid.px_per_rad},
                               {"path_rad", std::move(places)}}}});
  if (!edit) return tl::unexpected(edit.error());
  return edited(shot, **open, *edit);
}

Result<ShotCalls::Drawable> ShotCalls::drawable(int shot, bool touched) {
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  const auto& desk = (*open)->desk();
  return Drawable{desk, touched ? desk->touched((*open)->touched()) : desk->rig(),
                  (*open)->levelled_from_rig()};
}

Result<std::string> ShotCalls::strip(int shot, int pair, int lens, bool touched) {
  const auto drawn = drawable(shot, touched);
  if (!drawn) return tl::unexpected(drawn.error());
  const Desk& desk = *drawn->desk;
  if (pair < 0 || pair >= static_cast<int>(desk.pairs().size()) || lens < 0 ||
      lens >= desk.rig().lens_count()) {
    return fail(option_error("strip", "there is no such strip", "read the shot again"));
  }
  return desk.strip(static_cast<std::size_t>(pair), lens, drawn->rig);
}

Result<std::string> ShotCalls::look(int shot, const Preview& look, bool touched) {
  const auto drawn = drawable(shot, touched);
  if (!drawn) return tl::unexpected(drawn.error());
  return drawn->desk->look(look, turned(drawn->rig, drawn->levelled_from_rig));
}

Result<std::string> ShotCalls::sphere(int shot) {
  const auto drawn = drawable(shot, false);
  if (!drawn) return tl::unexpected(drawn.error());
  return drawn->desk->sphere(drawn->rig);
}

Result<json> ShotCalls::place_on_sphere(int shot, const json& asked) {
  const std::lock_guard lock(mutex_);
  const auto open = opened(shot);
  if (!open) return tl::unexpected(open.error());
  const Desk& desk = *(*open)->desk();
  const auto pair = whole(asked, "pair", static_cast<int>(desk.pairs().size()));
  if (!pair) return tl::unexpected(pair.error());
  const auto at = place(member(asked, "at"), "at");
  if (!at) return tl::unexpected(at.error());
  return json{
      {"on_sphere",
       (*open)->on_sphere(desk.pairs()[static_cast<std::size_t>(*pair)].grid.direction(*at))}};
}

Result<json> ShotCalls::find_seam(int shot) {
  std::optional<SeamTask> task;
  {
    const std::lock_guard lock(mutex_);
    const auto open = opened(shot);
    if (!open) return tl::unexpected(open.error());
    const EditedShot& work = **open;
    task = SeamTask{.desk = work.desk(),
                    .rig = work.desk()->touched(work.touched()),
                    .ties = work.session().state().ties_in_use(),
                    .strokes = work.session().state().seam()};
  }
  seam_.start(std::move(*task));  // may wait for an older one to stop: edits go on meanwhile
  return seam_.status();
}

}  // namespace seamwright::workbench
