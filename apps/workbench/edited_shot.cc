#include "apps/workbench/edited_shot.h"

#include <cmath>
#include <cstddef>

#include <fmt/format.h>

#include "apps/workbench/edit_json.h"
#include "compose/finish/level.h"

namespace seamwright::workbench {

namespace {

using nlohmann::json;

json fit_json(const TieFit& fit) {
  return {{"parallax_px", fit.parallax_px},
          {"sideways_px", fit.sideways_px},
          {"sigmas", fit.sigmas},
          {"distance_m", fit.distance_m}};
}

json place_json(const std::optional<Vec2>& at) {
  if (!at) return nullptr;
  return json::array({at->x(), at->y()});
}

// Root mean square of what is left between the lenses, over the ties the solve used.
double rms_px(const std::vector<TouchTie>& ties, TieFit TouchTie::*when) {
  double sum = 0;
  int count = 0;
  for (const TouchTie& tie : ties) {
    if (!tie.used) continue;
    const TieFit& fit = tie.*when;
    sum += fit.parallax_px * fit.parallax_px + fit.sideways_px * fit.sideways_px;
    ++count;
  }
  return count > 0 ? std::sqrt(sum / count) : 0;
}

json tie_json(const Desk& desk, const EditedTie& tie, const TouchTie* solved) {
  json object = {{"id", tie.id}, {"on", tie.on}, {"tie", as_json(tie.tie)}, {"pair", nullptr}};
  if (const auto pair = desk.pair_of(tie.tie)) {
    const PairOverlap& overlap = desk.pairs()[*pair];
    object["pair"] = *pair;
    for (const ManualSight& sight : tie.tie.sights) {
      const json at = place_json(desk.ribbon_px(*pair, sight.lens, sight.px));
      if (sight.lens == overlap.lens_a) object["at_a"] = at;
      if (sight.lens == overlap.lens_b) object["at_b"] = at;
    }
  }
  if (solved != nullptr) {
    object["before"] = fit_json(solved->before);
    object["after"] = fit_json(solved->after);
    object["used"] = solved->used;
    object["suspect"] = solved->suspect;
    object["rival"] = solved->rival;
  }
  return object;
}

json pair_json(const PairOverlap& pair) {
  return {{"lens_a", pair.lens_a},
          {"lens_b", pair.lens_b},
          {"width_px", pair.grid.width_px},
          {"height_px", pair.grid.height_px},
          {"px_per_rad", pair.grid.px_per_rad},
          {"closed", pair.grid.closed}};
}

json stroke_json(const Desk& desk, const EditedStroke& drawn) {
  const SeamStroke& stroke = drawn.stroke;
  json object = as_json(stroke);
  object["id"] = drawn.id;
  json on_pairs = json::array();
  for (const PairOverlap& pair : desk.pairs()) {
    json line = json::array();
    for (const PanoramaPlace& place : stroke.path) {
      line.push_back(place_json(pair.grid.position(place.direction())));
    }
    on_pairs.push_back(std::move(line));
  }
  object["on_pairs"] = std::move(on_pairs);
  return object;
}

json edge_json(const EditedVertical& marked) {
  const UprightEdge& edge = marked.edge;
  json object = as_json(edge);
  object["id"] = marked.id;
  object["on_sphere"] = {EditedShot::on_sphere(edge.ends[0].direction()),
                         EditedShot::on_sphere(edge.ends[1].direction())};
  return object;
}

// Nothing where no edge is marked.
std::optional<Result<Vertical>> vertical_of(const EditState& state) {
  if (state.verticals.empty()) return std::nullopt;
  return vertical_from_marked(state.edges());
}

// The expected error around each pair's ring.
json seam_json(const Desk& desk, const std::vector<TouchSeam>& seam) {
  json places = json::array();
  for (const TouchSeam& place : seam) {
    for (std::size_t i = 0; i < desk.pairs().size(); ++i) {
      const PairOverlap& pair = desk.pairs()[i];
      if (pair.lens_a != place.lens_a || pair.lens_b != place.lens_b) continue;
      const RibbonGrid& grid = pair.grid;
      const double from_begin = std::remainder(place.psi_rad - grid.psi_begin_rad, 2 * kPi);
      places.push_back(
          {{"pair", i},
           {"x", (from_begin < 0 ? from_begin + 2 * kPi : from_begin) * grid.px_per_rad},
           {"before_px", std::hypot(place.parallax_before_px, place.sideways_before_px)},
           {"after_px", std::hypot(place.parallax_after_px, place.sideways_after_px)}});
    }
  }
  return places;
}

}  // namespace

Result<std::unique_ptr<EditedShot>> EditedShot::open(std::shared_ptr<const Desk> desk,
                                                     const std::filesystem::path& shot_file) {
  auto session = Session::open(shot_file, desk->opened().document, desk->rig().lens_count());
  if (!session) return tl::unexpected(session.error());
  std::unique_ptr<EditedShot> shot(new EditedShot(std::move(desk), std::move(*session)));
  if (auto done = shot->solve(); !done) return tl::unexpected(done.error());
  return shot;
}

Result<void> EditedShot::solve() {
  auto result = desk_->touch(session_.state().ties_in_use());
  if (!result) return tl::unexpected(result.error());
  touched_ = std::move(*result);
  vertical_ = vertical_of(session_.state());
  return {};
}

Result<void> EditedShot::edit(const Edit& edit) {
  const auto next = after(session_.state(), edit, desk_->rig().lens_count());
  if (!next) return tl::unexpected(next.error());
  auto result = desk_->touch(next->ties_in_use());
  if (!result) return tl::unexpected(result.error());
  auto vertical = vertical_of(*next);
  // Edges that are there already are not in the way of other edits, nor of their own removal.
  if (std::holds_alternative<AddVertical>(edit) && !*vertical) {
    return tl::unexpected(vertical->error());
  }
  if (auto done = session_.edit(edit); !done) return done;
  touched_ = std::move(*result);
  vertical_ = std::move(vertical);
  return {};
}

Quat EditedShot::levelled_from_rig() const {
  return vertical_ && *vertical_ ? level_from_rig((*vertical_)->down) : Quat::Identity();
}

Result<void> EditedShot::undo() {
  if (auto done = session_.undo(); !done) return done;
  return solve();
}

Result<void> EditedShot::redo() {
  if (auto done = session_.redo(); !done) return done;
  return solve();
}

Result<void> EditedShot::save() {
  std::optional<ShotTouch> touch;
  if (!touched_.step.isZero(0)) {
    touch = ShotTouch{touched_.names, {touched_.step.begin(), touched_.step.end()}};
  }
  return session_.save(touch);
}

json EditedShot::level_json() const {
  if (!vertical_) return nullptr;
  if (!*vertical_) return {{"fault", vertical_->error().line()}};
  const Mat3 turn = levelled_from_rig().toRotationMatrix();
  json rows = json::array();
  for (int row = 0; row < 3; ++row) {
    rows.push_back({turn(row, 0), turn(row, 1), turn(row, 2)});
  }
  return {{"tilt_deg", (*vertical_)->tilt_deg()},
          {"rms_lean_deg", (*vertical_)->rms_lean_deg},
          {"levelled_from_rig", std::move(rows)}};
}

json EditedShot::on_sphere(const Vec3& direction) {
  const PanoramaPlace place = place_of(direction);
  return {deg_from_rad(place.longitude_rad), deg_from_rad(place.latitude_rad)};
}

json EditedShot::view() const {
  json ties = json::array();
  std::size_t solved = 0;
  const Rig rig = desk_->touched(touched_);
  for (const EditedTie& tie : session_.state().ties) {
    json object = tie_json(*desk_, tie, tie.on ? &touched_.ties[solved] : nullptr);
    json on_spheres = json::array();
    for (const ManualSight& sight : tie.tie.sights) {
      const auto direction =
          rig.lenses[static_cast<std::size_t>(sight.lens)].direction_in_rig(sight.px);
      on_spheres.push_back(direction ? on_sphere(*direction) : json());
    }
    object["on_sphere"] = std::move(on_spheres);
    ties.push_back(std::move(object));
    if (tie.on) ++solved;
  }
  json pairs = json::array();
  for (const PairOverlap& pair : desk_->pairs()) pairs.push_back(pair_json(pair));
  json strokes = json::array();
  for (const EditedStroke& stroke : session_.state().strokes) {
    strokes.push_back(stroke_json(*desk_, stroke));
  }
  json verticals = json::array();
  for (const EditedVertical& edge : session_.state().verticals) {
    verticals.push_back(edge_json(edge));
  }
  return {{"pairs", std::move(pairs)},
          {"ties", std::move(ties)},
          {"strokes", std::move(strokes)},
          {"verticals", std::move(verticals)},
          {"level", level_json()},
          {"touch",
           {{"rms_before_px", rms_px(touched_.ties, &TouchTie::before)},
            {"rms_after_px", rms_px(touched_.ties, &TouchTie::after)},
            {"moved_sigmas", touched_.moved_sigmas},
            {"contradicts_template", touched_.contradicts_template},
            {"findings", touched_.findings},
            {"advice", touched_.advice},
            {"seam", seam_json(*desk_, touched_.seam)}}},
          {"unsaved", session_.unsaved()},
          {"can_undo", session_.can_undo()},
          {"can_redo", session_.can_redo()},
          {"recovered", session_.recovered()},
          {"note", session_.note()}};
}

}  // namespace seamwright::workbench
