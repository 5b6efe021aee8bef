#include "jobs/brackets/grouping.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include <fmt/format.h>

#include "base/user_error.h"
#include "jobs/brackets/exposure.h"
#include "jobs/brackets/shot_split.h"
#include "jobs/brackets/whole_shot.h"

namespace seamwright {
namespace {

std::string body_of(const FrameInfo& info) {
  return info.body_make.value_or("") + " " + info.body_model.value_or("");
}

/// What most frames have in common.
const ListedFrame* usual_frame(const std::vector<ListedFrame>& frames) {
  std::map<std::tuple<std::string, int, int>, std::pair<int, const ListedFrame*>> count;
  for (const ListedFrame& frame : frames) {
    auto& [times, first] = count[{body_of(frame.info), frame.width_px, frame.height_px}];
    if (times++ == 0) first = &frame;
  }
  int most = 0;
  const ListedFrame* usual = nullptr;
  for (const auto& [kind, counted] : count) {
    // Of equally frequent ones the one that comes first in the list.
    const bool before = counted.first == most && counted.second < usual;
    if (counted.first <= most && !before) continue;
    most = counted.first;
    usual = counted.second;
  }
  return usual;
}

std::optional<Error> check_body(const ListedFrame& frame, const ListedFrame& usual) {
  const bool says_body = frame.info.body_make || frame.info.body_model;
  if (says_body && body_of(frame.info) != body_of(usual.info)) {
    return user_error(frame.file.string(), "body",
                      fmt::format("taken with '{}', but {} with '{}'", body_of(frame.info),
                                  usual.file.string(), body_of(usual.info)),
                      "group the frames of one body at a time");
  }
  if (frame.width_px != usual.width_px || frame.height_px != usual.height_px) {
    return user_error(
        frame.file.string(), "size",
        fmt::format("{} x {} px, but {} has {} x {} px", frame.width_px, frame.height_px,
                    usual.file.string(), usual.width_px, usual.height_px),
        "group the frames of one body and one setting at a time");
  }
  return std::nullopt;
}

Result<double> exposure_of_text(const ListedFrame& frame, const std::string& text) {
  double ev = 0;
  const char* first = text.data() + (text.starts_with('+') ? 1 : 0);
  const auto [end, code] = std::from_chars(first, text.data() + text.size(), ev);
  if (code != std::errc{} || end != text.data() + text.size() || !(std::abs(ev) < 32)) {
    return fail(user_error(frame.file.string(), "pattern",
                           fmt::format("the group ev is '{}', which is no number of stops", text),
                           "let the group hold a number such as -3 or +2"));
  }
  return std::exp2(ev);
}

/// Of a frame whose exposure nothing tells; it must then be alone in its series.
constexpr double kUnknownExposure = 1;

bool tells_exposure(const ListedFrame& frame, const std::map<std::string, std::string>& groups) {
  return groups.count("ev") != 0 || relative_exposure(frame.info).has_value();
}

Result<double> find_exposure(const ListedFrame& frame,
                             const std::map<std::string, std::string>& groups) {
  if (const auto ev = groups.find("ev"); ev != groups.end()) {
    return exposure_of_text(frame, ev->second);
  }
  return relative_exposure(frame.info).value_or(kUnknownExposure);
}

std::map<std::string, std::string> groups_of(const std::filesystem::path& file,
                                             const GroupingOptions& options) {
  if (!options.pattern) return {};
  return options.pattern->match(file.filename().string());
}

std::optional<Error> check_exposures(const std::vector<ListedFrame>& frames,
                                     const BracketShot& shot, const GroupingOptions& options) {
  for (const BracketSeries& series : shot.lenses) {
    if (series.frame_count() == 1) continue;
    for (const BracketStep& step : series.steps) {
      for (const BracketMember& member : step.members) {
        const ListedFrame& frame = frames[member.frame];
        if (tells_exposure(frame, groups_of(frame.file, options))) continue;
        return user_error(frame.file.string(), "EXIF", "says no exposure time",
                          "name the exposures by 'pattern' with a group (?<ev>...)");
      }
    }
  }
  return std::nullopt;
}

Result<FramePlace> place_of(std::size_t index, const ListedFrame& frame,
                            const GroupingOptions& options) {
  const std::map<std::string, std::string> groups = groups_of(frame.file, options);
  if (options.pattern && groups.empty()) {
    return fail(
        user_error(frame.file.string(), "pattern",
                   fmt::format("'{}' does not match the file's name", options.pattern->text()),
                   "let the pattern match whole file names, suffix included"));
  }
  const auto exposure = find_exposure(frame, groups);
  if (!exposure) return tl::unexpected(exposure.error());
  const std::optional<double> time = seconds_of(frame.info.taken_at.value_or(""));
  const bool shot_is_told = groups.count("shot") != 0 || options.frames_per_shot > 0;
  if (!time && !shot_is_told) {
    return fail(user_error(frame.file.string(), "EXIF", "says no date and time",
                           "tell shots apart by 'pattern' with a group (?<shot>...), or by "
                           "'frames_per_shot'"));
  }
  FramePlace place{
      .frame = index,
      .exposure = *exposure,
      .starts_s = time.value_or(0),
      .ends_s = time.value_or(0) + frame.info.exposure_s.value_or(0),
      .lens = groups.count("lens") != 0 ? groups.at("lens") : frame.info.lens_model.value_or(""),
      .shot = groups.count("shot") != 0 ? groups.at("shot") : std::string()};
  return place;
}

BracketSeries series_of(std::string lens, std::vector<BracketMember> members, double step_ev) {
  std::stable_sort(
      members.begin(), members.end(),
      [](const BracketMember& a, const BracketMember& b) { return a.exposure < b.exposure; });
  BracketSeries series{.lens = std::move(lens), .steps = {}};
  for (const BracketMember& member : members) {
    const bool same =
        !series.steps.empty() &&
        ev_between(member.exposure, series.steps.back().members.front().exposure) <= step_ev;
    if (!same) series.steps.emplace_back();
    series.steps.back().members.push_back(member);
  }
  const double middle = series.steps[(series.steps.size() - 1) / 2].members.front().exposure;
  for (BracketStep& step : series.steps) {
    step.ev = ev_between(step.members.front().exposure, middle);
  }
  return series;
}

// "library_1" of "library_1_front_-3.tif": what all the names have in common.
std::string common_name(const ShotPlaces& places, const std::vector<ListedFrame>& frames) {
  std::string name = frames[places.front().frame].file.stem().string();
  for (const FramePlace& place : places) {
    const std::string other = frames[place.frame].file.stem().string();
    const auto differ = std::mismatch(name.begin(), name.end(), other.begin(), other.end());
    name.erase(differ.first, name.end());
  }
  const std::size_t last = name.find_last_not_of("_- +.");
  name.resize(last == std::string::npos ? 0 : last + 1);
  return name;
}

BracketShot shot_of(const ShotPlaces& places, const std::vector<ListedFrame>& frames,
                    double step_ev) {
  std::map<std::string, std::vector<BracketMember>> by_lens;
  for (const FramePlace& place : places) {
    by_lens[place.lens].push_back({place.frame, place.exposure});
  }
  std::vector<std::string> lenses;
  for (const auto& [lens, members] : by_lens) lenses.push_back(lens);
  std::stable_sort(lenses.begin(), lenses.end(), lens_before);
  BracketShot shot{.name = places.front().shot, .lenses = {}};
  if (shot.name.empty()) shot.name = common_name(places, frames);
  for (const std::string& lens : lenses) {
    shot.lenses.push_back(series_of(lens, by_lens.at(lens), step_ev));
  }
  return shot;
}

// Names that two shots share, or that are empty, get a number.
void make_names_unique(std::vector<BracketShot>& shots) {
  std::map<std::string, int> count;
  for (const BracketShot& shot : shots) ++count[shot.name];
  std::map<std::string, int> next;
  for (BracketShot& shot : shots) {
    if (!shot.name.empty() && count.at(shot.name) == 1) continue;
    const int number = ++next[shot.name];
    shot.name = shot.name.empty() ? fmt::format("shot_{}", number)
                                  : fmt::format("{}_{}", shot.name, number);
  }
}

/// What stays out of the groups, each shot once.
class Omissions {
 public:
  explicit Omissions(const GroupingOptions& options) : options_(options) {}

  void add_frame(const std::filesystem::path& file, Error error) {
    const auto groups = groups_of(file, options_);
    const auto shot = groups.find("shot");
    const bool known = shot != groups.end();
    if (known && !shots_.insert(shot->second).second) return;
    const std::string name = file.has_filename() ? file.filename().string() : file.string();
    left_out_.push_back({known ? shot->second : name, file, known, std::move(error)});
  }
  void add_shot(const std::string& name, Error error) {
    left_out_.push_back({name, {}, true, std::move(error)});
  }
  /// A shot that lost a frame, by its name in the pattern.
  [[nodiscard]] bool holds(const std::string& shot) const { return shots_.contains(shot); }
  [[nodiscard]] std::vector<LeftOut> take() { return std::move(left_out_); }

 private:
  const GroupingOptions& options_;
  std::set<std::string> shots_;
  std::vector<LeftOut> left_out_;
};

std::vector<FramePlace> places_of(const std::vector<ListedFrame>& frames,
                                  const GroupingOptions& options, Omissions& omissions) {
  const ListedFrame* usual = usual_frame(frames);
  std::vector<FramePlace> places;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (auto error = check_body(frames[i], *usual)) {
      omissions.add_frame(frames[i].file, std::move(*error));
      continue;
    }
    auto place = place_of(i, frames[i], options);
    if (place) {
      places.push_back(std::move(*place));
    } else {
      omissions.add_frame(frames[i].file, std::move(place.error()));
    }
  }
  return places;
}

std::string step_text(const BracketSeries& series) {
  std::string text;
  for (const BracketStep& step : series.steps) {
    text += fmt::format(" {:+.1f}", step.ev);
    if (step.members.size() > 1) text += fmt::format("x{}", step.members.size());
  }
  return text.substr(1);
}

}  // namespace

std::optional<Error> GroupingOptions::validate() const {
  if (!(rest_s >= 0 && rest_s <= 86400)) {
    return user_error({}, "rest", fmt::format("{} s is outside 0…86400", rest_s), "3 is usual");
  }
  if (!(step_ev >= 0.01 && step_ev <= 1)) {
    return user_error({}, "step", fmt::format("{} EV is outside 0.01…1", step_ev),
                      "a sixth is usual");
  }
  if (frames_per_shot < 0) {
    return user_error({}, "frames per shot",
                      fmt::format("{} is not a number of frames", frames_per_shot),
                      "give the number of frames of one lens in one shot");
  }
  return std::nullopt;
}

std::size_t BracketSeries::frame_count() const {
  std::size_t count = 0;
  for (const BracketStep& step : steps) count += step.members.size();
  return count;
}

Result<BracketSeries> written_series(const std::vector<ListedFrame>& frames,
                                     const std::vector<WrittenFrame>& written, double step_ev) {
  std::vector<BracketMember> members;
  for (const WrittenFrame& one : written) {
    const ListedFrame& frame = frames[one.frame];
    const auto exposure = one.ev ? std::exp2(*one.ev) : relative_exposure(frame.info);
    if (!exposure) {
      return fail(user_error(frame.file.string(), "EXIF", "says no exposure time",
                             "say each exposure's 'ev' where the bracket is written down"));
    }
    members.push_back({one.frame, *exposure});
  }
  return series_of({}, std::move(members), step_ev);
}

Result<WholeShots> group_whole_shots(const std::vector<ListedFrame>& frames,
                                     const GroupingOptions& options,
                                     const std::vector<UnlistedFrame>& unlisted) {
  if (auto error = options.validate()) return fail(std::move(*error));
  Omissions omissions(options);
  for (const UnlistedFrame& frame : unlisted) omissions.add_frame(frame.file, frame.error);
  std::vector<BracketShot> shots;
  for (const ShotPlaces& members :
       split_shots(places_of(frames, options, omissions), frames, options)) {
    if (omissions.holds(members.front().shot)) continue;  // it lost a frame
    shots.push_back(shot_of(members, frames, options.step_ev));
  }
  make_names_unique(shots);
  const UsualShot usual = usual_shot(shots, options.lens_count);
  WholeShots whole;
  for (BracketShot& shot : shots) {
    auto error = check_exposures(frames, shot, options);
    if (!error && !options.allow_missing) error = check_whole(frames, shot, usual, options.step_ev);
    if (error) {
      omissions.add_shot(shot.name, std::move(*error));
    } else {
      whole.shots.push_back(std::move(shot));
    }
  }
  whole.left_out = omissions.take();
  return whole;
}

Result<std::vector<BracketShot>> group_brackets(const std::vector<ListedFrame>& frames,
                                                const GroupingOptions& options) {
  auto whole = group_whole_shots(frames, options);
  if (!whole) return tl::unexpected(whole.error());
  if (!whole->left_out.empty()) return fail(std::move(whole->left_out.front().error));
  if (!whole->shots.empty()) return std::move(whole->shots);
  return fail(user_error({}, "frames", "there are none", "give files or a folder"));
}

std::string bracket_table(const std::vector<ListedFrame>& frames,
                          const std::vector<BracketShot>& shots) {
  std::size_t wide_shot = 4;
  std::size_t wide_lens = 4;
  for (const BracketShot& shot : shots) {
    wide_shot = std::max(wide_shot, shot.name.size());
    for (const BracketSeries& series : shot.lenses) {
      wide_lens = std::max(wide_lens, series.lens.size());
    }
  }
  std::string table =
      fmt::format("{:<{}}  {:<{}}  frames  steps, EV\n", "shot", wide_shot, "lens", wide_lens);
  for (const BracketShot& shot : shots) {
    for (const BracketSeries& series : shot.lenses) {
      table +=
          fmt::format("{:<{}}  {:<{}}  {:>6}  {}  ({} …)\n", shot.name, wide_shot,
                      series.lens.empty() ? "-" : series.lens, wide_lens, series.frame_count(),
                      step_text(series),
                      frames[series.steps.front().members.front().frame].file.filename().string());
    }
  }
  return table;
}

}  // namespace seamwright
