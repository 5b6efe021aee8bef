#include "jobs/restitch/day_fit.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace seamwright {

namespace {

constexpr std::size_t kFewestShots = 2;
constexpr double kAlike_deg = 0.1;
constexpr double kAlikeShare = 1.0 / 3;

using NamedFit = std::pair<std::string, const ShotFit*>;

// The cause without the numbers of one shot.
std::string common_words(Misfit cause) {
  switch (cause) {
    case Misfit::none:
      break;
    case Misfit::two_shots:
      return "the frames of each are of two shots";
    case Misfit::swapped:
      return "the lenses are swapped in all of them";
    case Misfit::mirrored:
      return "the frames are mirrored";
    case Misfit::turned:
      return "the frames are turned";
    case Misfit::upside_down:
      return "the frames stand on their heads";
    case Misfit::other_body:
      return "this is another body's template";
  }
  return {};
}

std::size_t most_turned(const ShotFit& fit) {
  const auto most =
      std::max_element(fit.turns.begin(), fit.turns.end(),
                       [](const Vec3& a, const Vec3& b) { return a.norm() < b.norm(); });
  return static_cast<std::size_t>(most - fit.turns.begin());
}

bool alike(const Vec3& a, const Vec3& b) {
  const double most = std::max(kAlike_deg, kAlikeShare * deg_from_rad(a.norm()));
  return deg_from_rad((a - b).norm()) <= most;
}

// "14:20" of "2024:05:14 14:20:20".
std::string clock_of(const std::string& taken_at) {
  constexpr std::size_t kBegin = 11, kLength = 5;
  return taken_at.size() < kBegin + kLength ? taken_at : taken_at.substr(kBegin, kLength);
}

}  // namespace

void DayFit::take(const std::string& item, const ShotFit& fit) {
  const std::scoped_lock lock(mutex_);
  fits_[item] = fit;
}

std::optional<ShotFit> DayFit::of(const std::string& item) const {
  const std::scoped_lock lock(mutex_);
  const auto known = fits_.find(item);
  if (known == fits_.end()) return std::nullopt;
  return known->second;
}

std::optional<SharedRefusal> DayFit::shared_refusal() const {
  const std::scoped_lock lock(mutex_);
  if (fits_.size() < kFewestShots) return std::nullopt;
  const ShotFit& first = fits_.begin()->second;
  const bool shared = std::all_of(fits_.begin(), fits_.end(), [&](const auto& one) {
    return one.second.verdict == FitVerdict::refused && one.second.cause == first.cause;
  });
  if (!shared) return std::nullopt;
  return SharedRefusal{.cause = first.cause,
                       .words = fmt::format("none of the {} shots fits: {}", fits_.size(),
                                            common_words(first.cause)),
                       .remedy = first.remedy};
}

std::optional<SharedKnock> DayFit::shared_knock() const {
  const std::scoped_lock lock(mutex_);
  std::vector<NamedFit> day;
  for (const auto& [item, fit] : fits_) {
    if (fit.verdict != FitVerdict::unsure) day.emplace_back(item, &fit);
  }
  std::stable_sort(day.begin(), day.end(), [](const NamedFit& a, const NamedFit& b) {
    return a.second->taken_at < b.second->taken_at;
  });
  // From the last shot back, as long as they lean as it does.
  auto begin = day.end();
  while (begin != day.begin()) {
    const ShotFit& one = *std::prev(begin)->second;
    if (one.verdict != FitVerdict::knocked) break;
    const std::size_t lens = most_turned(*day.back().second);
    if (!alike(day.back().second->turns[lens], one.turns[lens])) break;
    --begin;
  }
  if (day.end() - begin < static_cast<std::ptrdiff_t>(kFewestShots)) return std::nullopt;
  SharedKnock knock{.since = begin->second->taken_at,
                    .from_first = begin == day.begin(),
                    .lens = static_cast<int>(most_turned(*day.back().second)),
                    .shots = {},
                    .words = {}};
  for (auto one = begin; one != day.end(); ++one) {
    knock.shots.push_back(one->first);
    knock.knock_deg += one->second->knock_deg / static_cast<double>(day.end() - begin);
  }
  knock.words = fmt::format(
      "all {} shots{} lean lens {} by {:.2f} degrees the same way: the body was knocked{}",
      knock.shots.size(),
      knock.since.empty() || knock.from_first ? "" : " since " + clock_of(knock.since), knock.lens,
      knock.knock_deg,
      knock.from_first ? " before the first of them, or this is the template of another one" : "");
  return knock;
}

}  // namespace seamwright
