#include "jobs/learning/suspect_shots.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>

#include "solver/inliers.h"

namespace seamwright {

namespace {

constexpr std::size_t kLeastShots = 3;
constexpr double kWorseThanOthers = 4;  // times the noise of the median shot
constexpr double kLeastInlierShare = 0.5;
constexpr double kClearlyMore = 1.3;     // ties, the other way round
constexpr double kLeastCoverage = 0.25;  // of the sectors that two lenses share

// How the ties between the lenses of one shot fit.
struct ShotFit {
  std::vector<double> squares;  // χ² of each
  int inliers = 0;

  [[nodiscard]] double noise() const { return std::sqrt(median(squares)); }
  [[nodiscard]] double inlier_share() const {
    return inliers / std::max(1.0, static_cast<double>(squares.size()));
  }
};

bool within_one_shot(const Tie& tie) {
  return std::all_of(tie.sights.begin(), tie.sights.end(),
                     [&](const TieSight& sight) { return tie.shot_of(sight) == tie.shot; });
}

}  // namespace

std::vector<int> suspect_shots(const LearnRigResult& solved, std::span<const Tie> ties, int shots) {
  std::vector<ShotFit> fits(static_cast<std::size_t>(shots));
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (!within_one_shot(ties[i]) || !solved.points[i].usable) continue;
    ShotFit& fit = fits[static_cast<std::size_t>(ties[i].shot)];
    fit.squares.push_back(tie_chi2(solved.solution.rig, ties[i], solved.points[i], solved.shots));
    fit.inliers += solved.inlier[i] != 0 ? 1 : 0;
  }
  std::vector<double> noises;
  for (const ShotFit& fit : fits) {
    if (!fit.squares.empty()) noises.push_back(fit.noise());
  }
  std::vector<int> suspects;
  if (noises.size() < kLeastShots) return suspects;
  const double usual = std::max(0.5, median(noises));
  for (int shot = 0; shot < shots; ++shot) {
    const ShotFit& fit = fits[static_cast<std::size_t>(shot)];
    if (fit.squares.empty()) continue;
    if (fit.noise() > kWorseThanOthers * usual || fit.inlier_share() < kLeastInlierShare) {
      suspects.push_back(shot);
    }
  }
  // When most are wrong, it is not the shots.
  if (2 * suspects.size() >= noises.size()) suspects.clear();
  return suspects;
}

Result<std::optional<int>> ties_if_swapped(const Pictures& frames, const Rig& rig, int as_given,
                                           const TieOptions& options) {
  if (frames.size() != 2) return std::nullopt;
  const auto other = find_ties({frames[1], frames[0]}, rig, 0, options);
  if (!other) return fail(other.error());
  const auto ties = static_cast<int>(other->ties.size());
  if (ties > kClearlyMore * as_given) return ties;
  return std::nullopt;
}

Result<std::string> reason_of_misfit(const Pictures& frames, const Rig& rig, int as_given,
                                     const TieOptions& options) {
  const auto swapped = ties_if_swapped(frames, rig, as_given, options);
  if (!swapped) return fail(swapped.error());
  if (*swapped) {
    return fmt::format(
        "its lenses are swapped: {} ties fit the other way round, {} as given; name the frames "
        "in the order of the other shots",
        **swapped, as_given);
  }
  return std::string(
      "its ties do not fit the lenses that the other shots agree on; check that its frames belong "
      "together and to this body");
}

std::optional<Error> crowded_ties(std::span<const TieReport> reports, int cells_psi) {
  struct Sectors {
    std::set<double> empty;  // in every shot that shares the sector
    int shots = 0;
  };
  std::map<std::pair<int, int>, Sectors> pairs;
  for (const TieReport& report : reports) {
    for (const PairTieReport& pair : report.pairs) {
      if (pair.kept == 0) continue;
      Sectors& sectors = pairs[{pair.lens_a, pair.lens_b}];
      std::set<double> empty(pair.empty_sectors_deg.begin(), pair.empty_sectors_deg.end());
      if (sectors.shots++ == 0) {
        sectors.empty = std::move(empty);
        continue;
      }
      std::erase_if(sectors.empty, [&](double sector) { return !empty.contains(sector); });
    }
  }
  int fewest_empty = cells_psi;
  for (const auto& [lenses, sectors] : pairs) {
    fewest_empty = std::min(fewest_empty, static_cast<int>(sectors.empty.size()));
  }
  const double covered = 1 - static_cast<double>(fewest_empty) / cells_psi;
  if (pairs.empty() || covered >= kLeastCoverage) return std::nullopt;
  return Error{
      .kind = ErrorKind::numeric,
      .where = {},
      .field = "ties",
      .what = fmt::format("all lie within {:.0f} of 360 degrees around the ring", 360 * covered),
      .remedy = "add shots with texture all around: turn the body between shots"};
}

}  // namespace seamwright
