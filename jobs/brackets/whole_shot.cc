#include "jobs/brackets/whole_shot.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "base/user_error.h"
#include "jobs/brackets/exposure.h"

namespace seamwright {
namespace {

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

// Of equally frequent numbers the largest: a lens is sooner lost than found.
std::size_t usual_lens_count(const std::vector<BracketShot>& shots, int lens_count) {
  std::map<std::size_t, int> count;
  for (const BracketShot& shot : shots) ++count[shot.lenses.size()];
  const auto known = static_cast<std::size_t>(lens_count);
  if (count.contains(known)) return known;
  std::size_t usual = 0;
  int most = 0;
  for (const auto& [lenses, times] : count) {
    if (times < most) continue;
    usual = lenses;
    most = times;
  }
  return usual;
}

std::string in_words(const std::vector<int>& tenths) {
  std::string text;
  for (const int tenth : tenths)
    text += fmt::format("{}{:+.1f}", text.empty() ? "" : " ", tenth / 10.0);
  return text + " EV";
}

std::string file_name(const std::vector<ListedFrame>& frames, const BracketStep& step) {
  return frames[step.members.front().frame].file.filename().string();
}

// Of the first frame of each lens.
std::string file_names(const std::vector<ListedFrame>& frames, const BracketShot& shot) {
  std::string names;
  for (const BracketSeries& series : shot.lenses) {
    names += (names.empty() ? "" : ", ") + file_name(frames, series.steps.front());
  }
  return names;
}

// Within one shot the lenses must have the very same exposures.
std::optional<Error> check_lenses_alike(const std::vector<ListedFrame>& frames,
                                        const BracketShot& shot, double step_ev) {
  for (const BracketSeries& a : shot.lenses) {
    for (const BracketSeries& b : shot.lenses) {
      for (const BracketStep& step : b.steps) {
        const double exposure = step.members.front().exposure;
        if (has_step(a, exposure, step_ev)) continue;
        return user_error(series_name(shot, a), "brackets",
                          fmt::format("lacks the {:+.1f} EV step: nothing is there beside {}",
                                      step.ev, file_name(frames, step)),
                          "add the missing frame, or go on without by 'allow_missing'");
      }
    }
  }
  return std::nullopt;
}

// A bracket among single frames is one that was meant: its steps are a stop or more (common
// practice). Single frames that ran together differ by less.
bool is_bracket(const std::vector<int>& rhythm_tenths_ev) {
  if (rhythm_tenths_ev.size() < 2) return false;
  const auto close = [](int a, int b) { return b - a < 10; };
  return std::adjacent_find(rhythm_tenths_ev.begin(), rhythm_tenths_ev.end(), close) ==
         rhythm_tenths_ev.end();
}

}  // namespace

UsualShot usual_shot(const std::vector<BracketShot>& shots, int lens_count) {
  return {.lens_count = usual_lens_count(shots, lens_count),
          .rhythm_tenths_ev = usual_rhythm(shots)};
}

std::optional<Error> check_whole(const std::vector<ListedFrame>& frames, const BracketShot& shot,
                                 const UsualShot& usual, double step_ev) {
  if (shot.lenses.size() != usual.lens_count) {
    return user_error(shot.name, "lenses",
                      fmt::format("has {} of them where other shots have {}: there is only {}",
                                  shot.lenses.size(), usual.lens_count, file_names(frames, shot)),
                      "add the missing frame, or tell lenses apart by 'pattern' with a group "
                      "(?<lens>...), or shots by (?<shot>...)");
  }
  if (auto error = check_lenses_alike(frames, shot, step_ev)) return error;
  for (const BracketSeries& series : shot.lenses) {
    const std::vector<int> own = rhythm(series);
    // A tenth of a stop is rounding.
    const bool same = own.size() == usual.rhythm_tenths_ev.size() &&
                      std::equal(own.begin(), own.end(), usual.rhythm_tenths_ev.begin(),
                                 [](int a, int b) { return std::abs(a - b) <= 2; });
    if (same || (usual.rhythm_tenths_ev.size() == 1 && is_bracket(own))) continue;
    return user_error(
        series_name(shot, series), "brackets",
        fmt::format("{} exposures ({} from its darkest) where most series have {} ({}): a "
                    "bracket is missing or shots are mixed",
                    own.size(), in_words(own), usual.rhythm_tenths_ev.size(),
                    in_words(usual.rhythm_tenths_ev)),
        "add the missing frame, tell shots apart by 'pattern', or go on by 'allow_missing'");
  }
  return std::nullopt;
}

}  // namespace seamwright
