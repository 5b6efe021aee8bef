#include "jobs/card/card_shots.h"

#include <algorithm>
#include <map>
#include <set>
#include <tuple>
#include <utility>

#include <fmt/format.h>

#include "jobs/brackets/shot_split.h"
#include "jobs/brackets/whole_shot.h"
#include "jobs/card/names_tell.h"
#include "jobs/shot/body_files.h"
#include "jobs/shot/named_frames.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

using Frames = std::vector<ListedFrame>;
using Indices = std::vector<std::size_t>;

std::string shown_body(const FrameInfo& info) {
  std::string text = info.body_model.value_or(info.body_make.value_or(""));
  if (info.body_serial) text += (text.empty() ? "" : " ") + *info.body_serial;
  return text;
}

/// Frames of one body: of one serial number, or of one make and model, and of one size.
std::vector<Indices> by_body(const Frames& frames) {
  std::map<std::tuple<std::string, int, int>, Indices> bodies;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const ListedFrame& frame = frames[i];
    const std::string name = frame.info.body_make.value_or("") + " " + shown_body(frame.info);
    bodies[{name, frame.width_px, frame.height_px}].push_back(i);
  }
  std::vector<Indices> parted;
  for (auto& [key, indices] : bodies) parted.push_back(std::move(indices));
  return parted;
}

/// One body's frames on the way to its shots.
struct Body {
  Frames frames;
  Indices of_list;  ///< where each stands in the whole list
  int lens_count = 2;
  std::optional<FrameLayout> together;  ///< one file holds all lenses
  std::vector<BracketShot> groups;      ///< members are indices into `frames`
};

// Two circles beside each other, or one above the other, make a file of twice the side.
std::optional<FrameLayout> layout_by_shape(const ListedFrame& frame, int lens_count) {
  if (lens_count < 2) return std::nullopt;
  const double shape = static_cast<double>(frame.width_px) / frame.height_px;
  const double least = 0.8 * lens_count;
  if (shape > least) return FrameLayout::side_by_side;
  if (1 / shape > least) return FrameLayout::stacked;
  return std::nullopt;
}

bool tells_lens(const ListedFrame& frame) { return !frame.info.lens_model.value_or("").empty(); }

std::set<std::string> lens_names(const Frames& frames) {
  std::set<std::string> names;
  for (const ListedFrame& frame : frames) {
    if (tells_lens(frame)) names.insert(*frame.info.lens_model);
  }
  return names;
}

BracketShot single_group(const NamedGroup& named, const std::map<fs::path, std::size_t>& index) {
  BracketShot group{.name = named.name, .lenses = {}};
  for (const fs::path& file : named.frames) {
    group.lenses.push_back(
        {.lens = {}, .steps = {{.ev = 0, .members = {{.frame = index.at(file)}}}}});
  }
  return group;
}

// Takes out of `rest` what EXIF cannot tell, and groups it by names.
void take_by_names(Body& body, Indices& rest, std::vector<CardNote>& notes) {
  std::vector<fs::path> files;
  std::map<fs::path, std::size_t> index;
  const bool together = body.together.has_value();
  std::erase_if(rest, [&](std::size_t i) {
    const ListedFrame& frame = body.frames[i];
    const bool word = !together && !tells_lens(frame) && names_lens_by_word(frame.file);
    if (frame.info.taken_at && !word) return false;
    files.push_back(frame.file);
    index.emplace(frame.file, i);
    return true;
  });
  const NamesTold told = shots_by_names(files, together ? 1 : body.lens_count);
  for (const NamedGroup& group : told.groups) body.groups.push_back(single_group(group, index));
  notes.insert(notes.end(), told.notes.begin(), told.notes.end());
}

double exposure_s(const ListedFrame& frame) { return frame.info.exposure_s.value_or(0); }

// Lens after lens with the same exposures, or exposure after exposure with one frame a lens; both
// where each lens has one. Nothing where neither holds, or both of several.
std::optional<std::vector<Indices>> parted_by_exposure(const Frames& frames, const Indices& shot,
                                                       std::size_t lenses) {
  if (shot.size() % lenses != 0) return std::nullopt;
  const std::size_t each = shot.size() / lenses;
  std::vector<Indices> by_lens(lenses), by_turn(lenses);
  for (std::size_t i = 0; i < shot.size(); ++i) {
    by_lens[i / each].push_back(shot[i]);
    by_turn[i % lenses].push_back(shot[i]);
  }
  const auto alike = [&](const std::vector<Indices>& parted) {
    return std::all_of(parted.begin(), parted.end(), [&](const Indices& lens) {
      return std::equal(lens.begin(), lens.end(), parted.front().begin(),
                        [&](std::size_t a, std::size_t b) {
                          return exposure_s(frames[a]) == exposure_s(frames[b]);
                        });
    });
  };
  if (each == 1) return by_lens;
  const bool lens_by_lens = alike(by_lens), turn_by_turn = alike(by_turn);
  if (lens_by_lens == turn_by_turn) return std::nullopt;
  return lens_by_lens ? by_lens : by_turn;
}

void add_parted(Body& body, const Indices& shot, std::vector<CardNote>& notes) {
  const auto lenses = static_cast<std::size_t>(body.lens_count);
  const ListedFrame& first = body.frames[shot.front()];
  const auto parted = parted_by_exposure(body.frames, shot, lenses);
  if (!parted) {
    notes.push_back(
        {first.file.string(),
         shot.size() < lenses
             ? fmt::format("nothing was taken with it, and a shot has {} lenses", lenses)
             : fmt::format("nothing tells the lenses of the {} frames taken with it",
                           shot.size())});
    return;
  }
  BracketShot group{.name = first.file.stem().string(), .lenses = {}};
  for (const Indices& lens : *parted) {
    std::vector<WrittenFrame> written;
    for (const std::size_t i : lens) written.push_back({.frame = i, .ev = {}});
    auto series = lens.size() == 1
                      ? Result<BracketSeries>(BracketSeries{
                            .lens = {}, .steps = {{.ev = 0, .members = {{.frame = lens[0]}}}}})
                      : written_series(body.frames, written);
    if (!series) {
      notes.push_back({first.file.string(), series.error().what});
      return;
    }
    group.lenses.push_back(std::move(*series));
  }
  body.groups.push_back(std::move(group));
}

// EXIF tells the times and no lens: the order of the files tells it.
void take_by_order(Body& body, Indices& rest, const GroupingOptions& options,
                   std::vector<CardNote>& notes) {
  if (body.together) return;
  std::vector<FramePlace> places;
  std::erase_if(rest, [&](std::size_t i) {
    const ListedFrame& frame = body.frames[i];
    if (tells_lens(frame)) return false;
    const double at = seconds_of(*frame.info.taken_at).value_or(0);
    places.push_back(
        {.frame = i, .starts_s = at, .ends_s = at + exposure_s(frame), .lens = {}, .shot = {}});
    return true;
  });
  for (const ShotPlaces& shot : split_shots(std::move(places), body.frames, options)) {
    Indices indices;
    for (const FramePlace& place : shot) indices.push_back(place.frame);
    add_parted(body, indices, notes);
  }
}

// What EXIF tells.
Result<void> take_by_exif(Body& body, const Indices& rest, const GroupingOptions& options,
                          std::vector<CardNote>& notes) {
  if (rest.empty()) return {};
  Frames frames;
  for (const std::size_t i : rest) frames.push_back(body.frames[i]);
  auto whole = group_whole_shots(frames, options);
  if (!whole) return tl::unexpected(whole.error());
  for (const LeftOut& left : whole->left_out) {
    notes.push_back({left.frame.empty() ? left.name : left.frame.string(), left.error.what});
  }
  for (BracketShot& group : whole->shots) {
    for (BracketSeries& series : group.lenses) {
      for (BracketStep& step : series.steps) {
        for (BracketMember& member : step.members) member.frame = rest[member.frame];
      }
    }
    body.groups.push_back(std::move(group));
  }
  return {};
}

const ListedFrame& first_of(const Frames& frames, const BracketShot& group) {
  return frames[group.lenses.front().steps.front().members.front().frame];
}

// Those that lack a lens stay out.
void drop_incomplete(Body& body, const std::set<std::string>& names, std::vector<CardNote>& notes) {
  const auto wanted = static_cast<std::size_t>(body.together ? 1 : body.lens_count);
  std::erase_if(body.groups, [&](const BracketShot& group) {
    if (group.lenses.size() == wanted) return false;
    std::set<std::string> missing = names;
    for (const BracketSeries& series : group.lenses) missing.erase(series.lens);
    const std::string file = first_of(body.frames, group).file.string();
    if (group.lenses.size() > wanted) {
      notes.push_back({file, fmt::format("its shot has {} lenses, the body has {}",
                                         group.lenses.size(), wanted)});
    } else if (missing.empty()) {
      notes.push_back({file, "no frame of another lens was taken with it"});
    } else {
      notes.push_back(
          {file, fmt::format("no frame of {} was taken with it", fmt::join(missing, ", "))});
    }
    return true;
  });
}

std::string shown_time(const std::string& exif) {
  std::string text = exif;
  for (std::size_t i = 0; i < text.size() && text[i] != ' '; ++i) {
    if (text[i] == ':') text[i] = '-';
  }
  return text;
}

std::string first_time(const Frames& frames, const BracketShot& group) {
  std::string first;
  for (const BracketSeries& series : group.lenses) {
    for (const BracketStep& step : series.steps) {
      for (const BracketMember& member : step.members) {
        const std::string time = shown_time(frames[member.frame].info.taken_at.value_or(""));
        if (!time.empty() && (first.empty() || time < first)) first = time;
      }
    }
  }
  return first;
}

Result<Body> grouped(const Frames& all, const Indices& indices, int lens_count,
                     const BodyFiles& told, double rest_s, std::vector<CardNote>& notes) {
  Body body{
      .frames = {}, .of_list = indices, .lens_count = lens_count, .together = {}, .groups = {}};
  for (const std::size_t i : indices) body.frames.push_back(all[i]);
  const std::set<std::string> names = lens_names(body.frames);
  if (told.layout && *told.layout != FrameLayout::one_per_file) {
    body.together = told.layout;
  } else if (names.size() < 2) {
    body.together = layout_by_shape(body.frames.front(), lens_count);
  }
  Indices rest(indices.size());
  for (std::size_t i = 0; i < rest.size(); ++i) rest[i] = i;
  const GroupingOptions options{.rest_s = rest_s, .allow_missing = true, .lens_count = lens_count};
  take_by_names(body, rest, notes);
  take_by_order(body, rest, options, notes);
  if (auto done = take_by_exif(body, rest, options, notes); !done) {
    return tl::unexpected(done.error());
  }
  drop_incomplete(body, names, notes);
  return body;
}

int lens_count_of(const ChosenTemplate& fit, const Frames& frames, const Indices& indices,
                  const std::vector<BodyTemplate>& templates) {
  if (fit.index) return templates[*fit.index].rig_template.rig().lens_count();
  if (!templates.empty()) return templates.front().rig_template.rig().lens_count();
  Frames own;
  for (const std::size_t i : indices) own.push_back(frames[i]);
  return std::max(2, static_cast<int>(lens_names(own).size()));
}

// A few shots from all over the day.
std::vector<ShotFiles> some_shots(const std::vector<CardShot>& shots, const Frames& frames) {
  constexpr std::size_t kMost = 3;
  std::vector<ShotFiles> some;
  const std::size_t count = std::min(kMost, shots.size());
  for (std::size_t i = 0; i < count; ++i) {
    some.push_back(files_of(shots[i * shots.size() / count], frames, {}));
  }
  return some;
}

bool is_single_exposure(const BracketShot& group) {
  return std::all_of(group.lenses.begin(), group.lenses.end(),
                     [](const BracketSeries& series) { return series.frame_count() == 1; });
}

// A body's shots in terms of the whole list, with what is odd about each.
std::vector<CardShot> shots_of(const Body& body) {
  std::vector<CardShot> shots;
  const UsualShot usual = usual_shot(body.groups, body.together ? 1 : body.lens_count);
  for (const BracketShot& group : body.groups) {
    CardShot shot;
    shot.time = first_time(body.frames, group);
    shot.name = group.name;
    shot.group = group;
    shot.layout = body.together;
    shot.body = shown_body(first_of(body.frames, group).info);
    // One exposure each is how somebody took it, also on a day of brackets.
    if (!is_single_exposure(group)) {
      auto error = check_whole(body.frames, group, usual, GroupingOptions{}.step_ev);
      if (error) shot.odd.push_back(error->what);
    }
    for (BracketSeries& series : shot.group.lenses) {
      for (BracketStep& step : series.steps) {
        for (BracketMember& member : step.members) member.frame = body.of_list[member.frame];
      }
    }
    shots.push_back(std::move(shot));
  }
  return shots;
}

// Finds the template of a body's shots; those of a body that none fits stay out.
void choose_template(std::vector<CardShot>& shots, ChosenTemplate fit, const Frames& frames,
                     const std::vector<BodyTemplate>& templates, std::vector<CardNote>& notes) {
  if (templates.empty() || shots.empty()) return;
  if (!fit.index) fit = template_by_ties(some_shots(shots, frames), templates);
  for (CardShot& shot : shots) {
    shot.fit = fit;
    if (!fit.index) continue;
    shot.body = templates[*fit.index].rig_template.body;
    if (fit.by != ChosenTemplate::By::only) continue;
    shot.odd.push_back(fmt::format(
        "too few ties tell whether it was taken with {}, and no serial number does", shot.body));
  }
  if (fit.index) return;
  const std::string body = shots.front().body;
  for (const CardShot& shot : shots) {
    notes.push_back({first_of(frames, shot.group).file.string(),
                     fmt::format("none of the templates fits this shot{}{}",
                                 body.empty() ? "" : " of ", body)});
  }
  shots.clear();
}

}  // namespace

ShotFiles files_of(const CardShot& shot, const std::vector<ListedFrame>& frames,
                   const std::vector<BodyTemplate>& templates) {
  FrameIntake intake{.layout = shot.layout.value_or(FrameLayout::one_per_file)};
  intake.lens_count = shot.layout ? 2 : static_cast<int>(shot.group.lenses.size());
  const bool known = shot.fit.index && *shot.fit.index < templates.size();
  if (known) intake.lens_count = templates[*shot.fit.index].rig_template.rig().lens_count();
  ShotFiles files = files_of_group(frames, shot.group, intake);
  files.layout_is_said = shot.layout.has_value();
  if (known) take_body_files(files, templates[*shot.fit.index].rig_template);
  return files;
}

Result<CardShots> find_card_shots(const Frames& frames, const std::vector<BodyTemplate>& templates,
                                  double rest_s, const ProgressFn& progress) {
  CardShots found;
  for (const Indices& indices : by_body(frames)) {
    if (!tell(progress, "finding shots", 0)) return fail(stopped_while("finding shots"));
    const ChosenTemplate fit =
        template_by_serial(frames[indices.front()].info.body_serial, templates);
    const int lens_count = lens_count_of(fit, frames, indices, templates);
    const BodyFiles told = fit.index ? templates[*fit.index].rig_template.files : BodyFiles{};
    const auto body = grouped(frames, indices, lens_count, told, rest_s, found.notes);
    if (!body) return tl::unexpected(body.error());
    std::vector<CardShot> shots = shots_of(*body);
    choose_template(shots, fit, frames, templates, found.notes);
    found.shots.insert(found.shots.end(), shots.begin(), shots.end());
  }
  const auto key = [&](const CardShot& shot) {
    return std::tuple(shot.time.empty(), shot.time, first_of(frames, shot.group).file);
  };
  std::stable_sort(found.shots.begin(), found.shots.end(),
                   [&](const CardShot& a, const CardShot& b) { return key(a) < key(b); });
  return found;
}

}  // namespace seamwright
