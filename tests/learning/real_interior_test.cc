// A real interior through four 220° fisheyes (Won, Ryu, Lim, TPAMI 2020: omnidirectional stereo),
// with published poses. Baselines of 0.29–0.42 m give far more parallax than a small body has.

#include <cmath>

#include <Eigen/LU>
#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/read_image.h"
#include "jobs/learning/learn.h"
#include "tests/features/published_rig.h"
#include "tests/support/matchers.h"
#include "tests/support/shared_data.h"

namespace seamwright {
namespace {

TEST_CASE("a real interior, four lenses, cold: rotations beside the published ones") {
  const auto folder = test::shared_data("four_lens_interior");
  if (!folder) return;
  const LearnShot shot{.name = "interior",
                       .load = [folder]() -> Result<std::vector<Image>> {
                         std::vector<Image> frames;
                         for (int lens = 1; lens <= 4; ++lens) {
                           auto frame = read_image(*folder / fmt::format("cam{}_00001.png", lens));
                           if (!frame) return fail(frame.error());
                           frames.push_back(std::move(*frame));
                         }
                         return frames;
                       },
                       .sources = {}};
  LearnOptions options;
  options.starter = "four-ring";
  options.baseline_m = 0.29;
  options.rounds = 2;
  const auto outcome = learn_template(std::span(&shot, 1), options);
  REQUIRE(outcome);
  // The published affine terms hold a turn of each lens about its axis: part of the rotation here.
  const test::PublishedRig published =
      test::read_published_rig(*folder / "published_rig.yaml", rad_from_deg(110));
  for (std::size_t lens = 1; lens < 4; ++lens) {
    const Quat theirs = published.rig.lenses[0].rig_from_lens.conjugate() *
                        published.rig.lenses[lens].rig_from_lens;
    const Quat ours = outcome->rig_template.rig().lenses[lens].rig_from_lens;
    const double apart_deg = deg_from_rad(test::angle_between_rotations(theirs, ours));
    const LearnRigResult& solve = outcome->solve;
    const int column = solve.terms.column(static_cast<int>(lens), kRotationX);
    const Mat3 covariance = solve.solution.covariance.values.block<3, 3>(column, column);
    const Vec3 off = rotation_vector_from_quat(ours * theirs.conjugate());
    const double sigmas = std::sqrt(off.dot(covariance.inverse() * off) / 3);
    WARN(
        fmt::format("lens {} against lens 0: {:.2f} degrees published, {:.2f} ours, {:.2f} apart; "
                    "claimed sigma {:.3f} an axis, apart by {:.1f} of them",
                    lens, deg_from_rad(rotation_vector_from_quat(theirs).norm()),
                    deg_from_rad(rotation_vector_from_quat(ours).norm()), apart_deg,
                    deg_from_rad(std::sqrt(covariance.trace() / 3)), sigmas));
    // 0.36°, 0.58° and 0.32° measured; by axis within 2.4 sigmas, but for the turn of lens 2 about
    // its own axis (docs/accuracy.md). The starter is off by up to 8°.
    const Vec3 sigma = covariance.diagonal().cwiseSqrt();
    WARN(
        fmt::format("  by axis, degrees: right {:.3f} (sigma {:.3f}), down {:.3f} ({:.3f}), ahead "
                    "{:.3f} ({:.3f})",
                    deg_from_rad(off.x()), deg_from_rad(sigma.x()), deg_from_rad(off.y()),
                    deg_from_rad(sigma.y()), deg_from_rad(off.z()), deg_from_rad(sigma.z())));
    CHECK(apart_deg < 1.0);
  }
  CHECK(outcome->solve.solution.quality.inlier_share > 0.7);
}

}  // namespace
}  // namespace seamwright
