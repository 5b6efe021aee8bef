// A real interior through four 220° fisheyes (Won, Ryu, Lim, TPAMI 2020: omnidirectional stereo),
// with published poses. Baselines of 0.29–0.42 m give far more parallax than a small body has.
//
// Where our rig and the published one differ, matches of cv::SIFT tell which one the photographs
// agree with (sift_matches.h). Ours is learned once more from every second twelfth of each pair's
// ring and judged in the others, so that it has not seen what it is judged by.

#include <cmath>

#include <Eigen/LU>
#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/read_image.h"
#include "jobs/learning/learn.h"
#include "tests/features/published_rig.h"
#include "tests/learning/sift_matches.h"
#include "tests/support/matchers.h"
#include "tests/support/shared_data.h"

namespace seamwright {
namespace {

constexpr int kLenses = 4;
constexpr int kTurns = 3 * (kLenses - 1);  // of lenses 1 to 3 against lens 0
using Turns = Eigen::Matrix<double, kTurns, 1>;
using TurnCovariance = Eigen::Matrix<double, kTurns, kTurns>;

Result<std::vector<Image>> read_interior(const std::filesystem::path& folder, int shot) {
  std::vector<Image> frames;
  for (int lens = 1; lens <= kLenses; ++lens) {
    auto frame = read_image(folder / fmt::format("cam{}_{:05}.png", lens, shot));
    if (!frame) return fail(frame.error());
    frames.push_back(std::move(*frame));
  }
  return frames;
}

LearnOutcome learn_interior(const std::filesystem::path& folder, int number) {
  const LearnShot shot{
      .name = "interior", .load = [&]() { return read_interior(folder, number); }, .sources = {}};
  LearnOptions options;
  options.starter = "four-ring";
  options.baseline_m = 0.29;
  options.rounds = 2;
  auto outcome = learn_template(std::span(&shot, 1), options);
  REQUIRE(outcome);
  return std::move(*outcome);
}

// Lens 0 is the rig, as in a template. The published affine terms hold a turn of each lens about
// its axis: part of the rotation here.
Rig published_interior(const std::filesystem::path& folder) {
  Rig rig = test::read_published_rig(folder / "published_rig.yaml", rad_from_deg(107)).rig;
  const MountedLens first = rig.lenses[0];
  for (MountedLens& mounted : rig.lenses) {
    mounted.rig_from_lens = first.rig_from_lens.conjugate() * mounted.rig_from_lens;
    mounted.pupil = first.rig_from_lens.conjugate() * (mounted.pupil - first.pupil);
  }
  return rig;
}

Turns turns_between(const Rig& rig, const Rig& other) {
  Turns turns;
  for (int lens = 1; lens < kLenses; ++lens) {
    const auto i = static_cast<std::size_t>(lens);
    turns.segment<3>(3 * lens - 3) = rotation_vector_from_quat(
        rig.lenses[i].rig_from_lens * other.lenses[i].rig_from_lens.conjugate());
  }
  return turns;
}

TurnCovariance turn_covariance(const SharedTerms& terms, const Eigen::MatrixXd& covariance) {
  std::vector<int> columns;
  for (int lens = 1; lens < kLenses; ++lens) {
    for (int k = 0; k < 3; ++k) columns.push_back(terms.column(lens, kRotationX + k));
  }
  return covariance(columns, columns);
}

// Mean square of nine turns in their sigmas.
double normalised(const Turns& off, const TurnCovariance& covariance) {
  return off.dot(covariance.ldlt().solve(off)) / kTurns;
}

void tell_turns(const Turns& off, const TurnCovariance& covariance) {
  for (int lens = 1; lens < kLenses; ++lens) {
    const Vec3 turn = off.segment<3>(3 * lens - 3);
    const Vec3 sigma = covariance.diagonal().segment<3>(3 * lens - 3).cwiseSqrt();
    WARN(
        fmt::format("lens {}: {:.2f} degrees from the published one; right {:+.3f} (sigma {:.3f}), "
                    "down {:+.3f} ({:.3f}), ahead {:+.3f} ({:.3f})",
                    lens, deg_from_rad(turn.norm()), deg_from_rad(turn.x()),
                    deg_from_rad(sigma.x()), deg_from_rad(turn.y()), deg_from_rad(sigma.y()),
                    deg_from_rad(turn.z()), deg_from_rad(sigma.z())));
  }
}

std::vector<Tie> of_half(const std::vector<Tie>& ties, const Rig& sectors_by, int half) {
  std::vector<Tie> kept;
  for (const Tie& tie : ties) {
    const int sector = test::ring_sector(sectors_by, tie);
    if (sector >= 0 && sector % 2 == half) kept.push_back(tie);
  }
  return kept;
}

// A rig from SIFT's matches alone, with all that a rig has free.
AdjustResult fitted_to(const std::vector<Tie>& matches, const Rig& start, int shots) {
  AdjustOptions options;
  options.max_iterations = 100;
  options.robust_scale = 2;
  options.with_shared_noise = true;
  const SharedTerms terms = all_rig_terms(kLenses);
  return adjust(start, matches, shots, terms, prior_of({}, start, terms), options);
}

void tell(const std::string& what, const test::SidewaysJudgement& judged) {
  WARN(fmt::format("{}: {:.2f} px RMS of {} sectors, median size {:.2f} px", what,
                   judged.sectors_rms_px, judged.sectors, judged.median_px));
}

// Both rigs on the halves that ours has not seen.
void judge_by_halves(const LearnOutcome& ours, const Rig& published,
                     const std::vector<Tie>& matches) {
  const Rig rig = ours.rig_template.rig();
  for (const int half : {0, 1}) {
    const auto learned = learn_rig(rig, prior_of({}, rig, all_rig_terms(kLenses)),
                                   of_half(ours.ties, published, 1 - half), 1, {});
    REQUIRE(learned);
    const std::vector<Tie> unseen = of_half(matches, published, half);
    const auto theirs = test::judge_sideways(published, published, unseen);
    const auto own = test::judge_sideways(learned->solution.rig, published, unseen);
    tell("matches of SIFT in every second sector, published rig", theirs);
    tell("  ours, learned from the other sectors", own);
    CHECK(own.sectors > 5);
    // Measured 0.11 and 0.12 px beside 1.00 and 1.02.
    CHECK(own.sectors_rms_px < 0.25);
    CHECK(theirs.sectors_rms_px > 4 * own.sectors_rms_px);
  }
}

TEST_CASE("a real interior, four lenses, cold: the photographs side with us where we differ") {
  const auto folder = test::shared_data("four_lens_interior");
  if (!folder) return;
  const Rig published = published_interior(*folder);
  const LearnOutcome outcome = learn_interior(*folder, 1);
  const Rig rig = outcome.rig_template.rig();
  CHECK(outcome.solve.solution.quality.inlier_share > 0.7);
  const TurnCovariance claimed =
      turn_covariance(outcome.solve.terms, outcome.solve.solution.covariance.values);
  const Turns off = turns_between(rig, published);
  tell_turns(off, claimed);
  // 0.21°, 0.44° and 0.41° measured. The starter is off by up to 8°.
  for (int lens = 1; lens < kLenses; ++lens)
    CHECK(off.segment<3>(3 * lens - 3).norm() < rad_from_deg(1));

  const auto frames = read_interior(*folder, 1);
  REQUIRE(frames);
  const auto matches = test::plausible_matches(test::sift_matches(*frames), published, rig);
  judge_by_halves(outcome, published, matches);

  const AdjustResult sift = fitted_to(matches, published, 1);
  const TurnCovariance sift_covariance = turn_covariance(all_rig_terms(kLenses), sift.covariance);
  const double from_ours = normalised(turns_between(rig, sift.rig), claimed + sift_covariance);
  const double from_theirs = normalised(turns_between(published, sift.rig), sift_covariance);
  WARN(
      fmt::format("a rig from {} matches of SIFT alone: mean square of its nine turns in sigmas "
                  "{:.1f} from ours, {:.1f} from the published one",
                  matches.size(), from_ours, from_theirs));
  CHECK(from_ours < 2.5);   // 1.0 measured
  CHECK(from_theirs > 10);  // 34 measured
}

// The second shot, in another room; and whether one rig fits both.
TEST_CASE("a real interior, four lenses: two shots and a rig that moved", "[.][study]") {
  const auto folder = test::shared_data("four_lens_interior");
  if (!folder) return;
  const Rig published = published_interior(*folder);
  std::vector<Rig> rigs;
  std::vector<std::vector<Tie>> matches;
  std::vector<Tie> all;
  for (const int shot : {0, 1}) {
    const LearnOutcome outcome = learn_interior(*folder, shot + 1);
    rigs.push_back(outcome.rig_template.rig());
    const auto frames = read_interior(*folder, shot + 1);
    REQUIRE(frames);
    matches.push_back(test::plausible_matches(test::sift_matches(*frames), published, rigs.back()));
    for (Tie match : matches.back()) {
      match.shot = shot;
      all.push_back(match);
    }
    WARN("shot " << shot + 1 << ", " << matches.back().size() << " matches of SIFT");
    tell_turns(turns_between(rigs.back(), published),
               turn_covariance(outcome.solve.terms, outcome.solve.solution.covariance.values));
    judge_by_halves(outcome, published, matches.back());
  }
  const Rig both = fitted_to(all, published, 2).rig;
  for (const std::size_t shot : {0U, 1U}) {
    const auto judged = [&](const Rig& rig) {
      return test::judge_sideways(rig, published, matches[shot]);
    };
    WARN("matches of shot " << shot + 1);
    tell("  published rig", judged(published));
    tell("  learned from this shot", judged(rigs[shot]));
    tell("  learned from the other shot", judged(rigs[1 - shot]));
    tell("  one rig fitted to the matches of both shots", judged(both));
    tell("  one fitted to this shot's", judged(fitted_to(matches[shot], published, 1).rig));
  }
}

}  // namespace
}  // namespace seamwright
