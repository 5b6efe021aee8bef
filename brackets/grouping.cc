#include "brackets/grouping.h"

#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

#include "brackets/exposure.h"
#include "brackets/shot_split.h"

namespace seamwright {
namespace {

Error grouping_error(std::string where, std::string field, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = std::move(where),
          .field = std::move(field),
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

std::string body_of(const FrameInfo& info) {
  return info.body_make.value_or("") + " " + info.body_model.value_or("");
}

std::optional<Error> check_one_body(const std::vector<ListedFrame>& frames) {
  const ListedFrame& first = frames.front();
  for (const ListedFrame& frame : frames) {
    if (body_of(frame.info) != body_of(first.info)) {
      return grouping_error(frame.file.string(), "body",
                            fmt::format("taken with '{}', but {} with '{}'", body_of(frame.info),
                                        first.file.string(), body_of(first.info)),
                            "group the frames of one body at a time");
    }
    if (frame.width_px != first.width_px || frame.height_px != first.height_px) {
      return grouping_error(
          frame.file.string(), "size",
          fmt::format("{} x {} px, but {} has {} x {} px", frame.width_px, frame.height_px,
                      first.file.string(), first.width_px, first.height_px),
          "group the frames of one body and one setting at a time");
    }
  }
  return std::nullopt;
}

Result<double> exposure_of_text(const ListedFrame& frame, const std::string& text) {
  double ev = 0;
  const char* first = text.data() + (text.starts_with('+') ? 1 : 0);
  const auto [end, code] = std::from_chars(first, text.data() + text.size(), ev);
  if (code != std::errc{} || end != text.data() + text.size() || !(std::abs(ev) < 32)) {
    return fail(
        grouping_error(frame.file.string(), "pattern",
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

std::map<std::string, std::string> groups_of(const ListedFrame& frame,
                                             const GroupingOptions& options) {
  if (!options.pattern) return {};
  return options.pattern->match(frame.file.filename().string());
}

std::optional<Error> check_exposures(const std::vector<ListedFrame>& frames,
                                     const std::vector<BracketShot>& shots,
                                     const GroupingOptions& options) {
  for (const BracketShot& shot : shots) {
    for (const BracketSeries& series : shot.lenses) {
      if (series.frame_count() == 1) continue;
      for (const BracketStep& step : series.steps) {
        for (const BracketMember& member : step.members) {
          const ListedFrame& frame = frames[member.frame];
          if (tells_exposure(frame, groups_of(frame, options))) continue;
          return grouping_error(frame.file.string(), "EXIF", "says no exposure time",
                                "name the exposures by --pattern with a group (?<ev>...)");
        }
      }
    }
  }
  return std::nullopt;
}

Result<FramePlace> place_of(std::size_t index, const ListedFrame& frame,
                            const GroupingOptions& options) {
  const std::map<std::string, std::string> groups = groups_of(frame, options);
  if (options.pattern && groups.empty()) {
    return fail(
        grouping_error(frame.file.string(), "pattern",
                       fmt::format("'{}' does not match the file's name", options.pattern->text()),
                       "let the pattern match whole file names, suffix included"));
  }
  const auto exposure = find_exposure(frame, groups);
  if (!exposure) return tl::unexpected(exposure.error());
  const std::optional<double> time = seconds_of(frame.info.taken_at.value_or(""));
  const bool shot_is_told = groups.count("shot") != 0 || options.frames_per_shot > 0;
  if (!time && !shot_is_told) {
    return fail(grouping_error(frame.file.string(), "EXIF", "says no date and time",
                               "tell shots apart by --pattern with a group (?<shot>...), or by "
                               "--frames-per-shot"));
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

bool has_step(const BracketSeries& series, double exposure, double step_ev) {
  return std::any_of(series.steps.begin(), series.steps.end(), [&](const BracketStep& step) {
    return std::abs(ev_between(step.members.front().exposure, exposure)) <= step_ev;
  });
}

std::string series_name(const BracketShot& shot, const BracketSeries& series) {
  return series.lens.empty() ? shot.name : fmt::format("{}, {}", shot.name, series.lens);
}

/// The EVs of a series between its steps: what series of other brightness have in common.
std::vector<int> rhythm(const BracketSeries& series) {
  std::vector<int> tenths;
  for (const BracketStep& step : series.steps) {
    tenths.push_back(static_cast<int>(
        std::lround(10 * ev_between(step.members.front().exposure,
                                    series.steps.front().members.front().exposure))));
  }
  return tenths;
}

// The rhythm that most series have; of equally frequent ones the longest.
std::vector<int> usual_rhythm(const std::vector<BracketShot>& shots) {
  std::map<std::vector<int>, int> count;
  for (const BracketShot& shot : shots) {
    for (const BracketSeries& series : shot.lenses) ++count[rhythm(series)];
  }
  std::vector<int> usual;
  int most = 0;
  for (const auto& [steps, times] : count) {
    if (times > most || (times == most && steps.size() > usual.size())) {
      usual = steps;
      most = times;
    }
  }
  return usual;
}

std::string in_words(const std::vector<int>& tenths) {
  std::string text;
  for (const int tenth : tenths)
    text += fmt::format("{}{:+.1f}", text.empty() ? "" : " ", tenth / 10.0);
  return text + " EV";
}

// Within one shot the lenses must have the very same exposures.
std::optional<Error> check_lenses_alike(const BracketShot& shot, double step_ev) {
  for (const BracketSeries& a : shot.lenses) {
    for (const BracketSeries& b : shot.lenses) {
      for (const BracketStep& step : b.steps) {
        const double exposure = step.members.front().exposure;
        if (has_step(a, exposure, step_ev)) continue;
        return grouping_error(
            series_name(shot, a), "brackets",
            fmt::format("lacks the {:+.1f} EV step that {} has", step.ev, series_name(shot, b)),
            "add the missing frame, or go on without by --allow-missing");
      }
    }
  }
  return std::nullopt;
}

std::optional<Error> check_complete(const std::vector<BracketShot>& shots, double step_ev) {
  const std::vector<int> usual = usual_rhythm(shots);
  const std::size_t lens_count = shots.front().lenses.size();
  for (const BracketShot& shot : shots) {
    if (shot.lenses.size() != lens_count) {
      return grouping_error(shot.name, "lenses",
                            fmt::format("has {} lenses, but {} has {}", shot.lenses.size(),
                                        shots.front().name, lens_count),
                            "tell lenses apart by --pattern with a group (?<lens>...), or shots by "
                            "(?<shot>...)");
    }
    if (auto error = check_lenses_alike(shot, step_ev)) return error;
    for (const BracketSeries& series : shot.lenses) {
      const std::vector<int> own = rhythm(series);
      // A tenth of a stop is rounding.
      const bool same = own.size() == usual.size() &&
                        std::equal(own.begin(), own.end(), usual.begin(),
                                   [](int a, int b) { return std::abs(a - b) <= 2; });
      if (same) continue;
      return grouping_error(
          series_name(shot, series), "brackets",
          fmt::format("{} exposures ({} from its darkest) where most series have {} ({}): a "
                      "bracket is missing or shots are mixed",
                      own.size(), in_words(own), usual.size(), in_words(usual)),
          "add the missing frame, tell shots apart by --pattern, or go on by --allow-missing");
    }
  }
  return std::nullopt;
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
    return grouping_error({}, "rest", fmt::format("{} s is outside 0…86400", rest_s), "3 is usual");
  }
  if (!(step_ev >= 0.01 && step_ev <= 1)) {
    return grouping_error({}, "step", fmt::format("{} EV is outside 0.01…1", step_ev),
                          "a sixth is usual");
  }
  if (frames_per_shot < 0) {
    return grouping_error({}, "frames per shot",
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
      return fail(grouping_error(frame.file.string(), "EXIF", "says no exposure time",
                                 "say each exposure's 'ev' where the bracket is written down"));
    }
    members.push_back({one.frame, *exposure});
  }
  return series_of({}, std::move(members), step_ev);
}

Result<std::vector<BracketShot>> group_brackets(const std::vector<ListedFrame>& frames,
                                                const GroupingOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (frames.empty()) {
    return fail(grouping_error({}, "frames", "there are none", "give files or a folder"));
  }
  if (auto error = check_one_body(frames)) return fail(std::move(*error));
  std::vector<FramePlace> places;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    auto place = place_of(i, frames[i], options);
    if (!place) return tl::unexpected(place.error());
    places.push_back(std::move(*place));
  }
  std::vector<BracketShot> shots;
  for (const ShotPlaces& members : split_shots(std::move(places), frames, options)) {
    shots.push_back(shot_of(members, frames, options.step_ev));
  }
  if (auto error = check_exposures(frames, shots, options)) return fail(std::move(*error));
  make_names_unique(shots);
  if (!options.allow_missing) {
    if (auto error = check_complete(shots, options.step_ev)) return fail(std::move(*error));
  }
  return shots;
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
