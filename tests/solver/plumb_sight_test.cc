#include "solver/plumb_sight.h"

#include <cmath>
#include <optional>

#include <Eigen/Dense>
#include <catch2/catch.hpp>

#include "solver/adjust.h"
#include "solver/line_fit.h"
#include "solver/sight.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

// Points of a random great circle that a lens sees, at most 60° to either side of its nearest place
// to the axis; empty for a circle that it hardly sees.
std::optional<PlumbLine> random_line(Random& random, const Lens& lens, int lens_index,
                                     double noise_px = 0) {
  const Vec3 normal = test::random_direction(random);
  const Vec3 nearest = (Vec3::UnitZ() - normal.z() * normal).normalized();
  const Vec3 ahead = normal.cross(nearest);
  PlumbLine line{.lens = lens_index};
  constexpr int kPoints = 30;
  const double middle = random.uniform(-0.8, 0.8);
  const double half_length = random.uniform(0.2, 0.7);
  for (int i = 0; i < kPoints; ++i) {
    const double s = middle + half_length * (2.0 * i / (kPoints - 1) - 1);
    const auto px = lens.project(std::cos(s) * nearest + std::sin(s) * ahead);
    if (!px) return std::nullopt;
    const Vec2 noise(random.normal(noise_px), random.normal(noise_px));
    line.points.push_back({*px + noise, noise_px > 0 ? noise_px : 0.05});
  }
  return line;
}

std::vector<PlumbLine> random_lines(Random& random, const Rig& rig, int count,
                                    double noise_px = 0) {
  std::vector<PlumbLine> lines;
  while (static_cast<int>(lines.size()) < count) {
    const int lens = static_cast<int>(lines.size()) % rig.lens_count();
    const Lens& model = rig.lenses[static_cast<std::size_t>(lens)].lens;
    if (auto line = random_line(random, model, lens, noise_px)) lines.push_back(std::move(*line));
  }
  return lines;
}

SharedTerms lens_terms_only(int lens_count, int last_radial) {
  return {lens_count, [=](int, int slot) {
            const bool radial = slot >= kRadial1 && slot <= kRadial4;
            return radial ? slot <= last_radial : slot < kLensTermCount;
          }};
}

TEST_CASE("derivatives of a plumb point match central differences", "[lines]") {
  CAPTURE(seed());
  Random random(31);
  int checked = 0;
  for (int c = 0; c < kLensCurveCount; ++c) {
    test::RigOptions options{.curve = static_cast<LensCurve>(c)};
    const Lens lens = test::random_rig(random, options).lenses[0].lens;
    for (int trial = 0; trial < 20; ++trial) {
      const Vec3 direction = test::random_direction_within(random, 0.85 * lens.theta_max_rad);
      const Vec3 on_circle = direction.cross(test::random_direction(random)).normalized();
      const Vec2 px = *lens.project(direction);
      // Off the circle too: some pixels away.
      const Vec3 normal = (on_circle + random.uniform(-0.01, 0.01) * direction).normalized();
      const LinearPlumbPoint linear = linearise_plumb_point(lens, px, direction, normal);
      const auto residual = [&](const Lens& at, const Vec3& pole) {
        return linearise_plumb_point(at, px, direction, pole).residual;
      };
      for (int term = 0; term < kLensTermCount; ++term) {
        const double step = 1e-6 * (term <= kCentreV ? 100 : 1);
        Lens up = lens;
        Lens down = lens;
        up.terms[static_cast<std::size_t>(term)] += step;
        down.terms[static_cast<std::size_t>(term)] -= step;
        const double numeric = (residual(up, normal) - residual(down, normal)) / (2 * step);
        CHECK(linear.by_terms[term] == Approx(numeric).epsilon(1e-5).margin(1e-4));
        ++checked;
      }
      for (int k = 0; k < 2; ++k) {
        constexpr double kStep = 1e-6;
        const Vec3 turn = kStep * tangent_basis(normal).col(k);
        const double numeric = (residual(lens, (normal + turn).normalized()) -
                                residual(lens, (normal - turn).normalized())) /
                               (2 * kStep);
        CHECK(linear.by_normal.dot(tangent_basis(normal).col(k)) ==
              Approx(numeric).epsilon(1e-6).margin(1e-4));
      }
    }
  }
  CHECK(checked == kLensCurveCount * 20 * kLensTermCount);
}

TEST_CASE("a plumb residual is the distance in pixels", "[lines]") {
  CAPTURE(seed());
  Random random(32);
  const Lens lens = test::random_rig(random, {}).lenses[0].lens;
  int checked = 0;
  for (int trial = 0; trial < 50; ++trial) {
    const Vec3 direction = test::random_direction_within(random, 0.85 * lens.theta_max_rad);
    const Vec3 normal = direction.cross(test::random_direction(random)).normalized();
    const Vec2 px = *lens.project(direction);
    const Vec2 along =
        (*lens.project(direction + 1e-6 * normal.cross(direction)) - px).normalized();
    const double off_px = random.uniform(-0.3, 0.3);
    const Vec2 beside = px + off_px * Vec2(-along.y(), along.x());
    CHECK(std::abs(linearise_plumb_point(lens, beside, direction, normal).residual) ==
          Approx(std::abs(off_px)).margin(1e-6));
    ++checked;
  }
  CHECK(checked == 50);
}

TEST_CASE("exact plumb lines alone give a lens' curve, centre and decentring", "[lines]") {
  CAPTURE(seed());
  Random random(33);
  for (int c = 0; c < kLensCurveCount; ++c) {
    CAPTURE(c);
    test::RigOptions options{.curve = static_cast<LensCurve>(c)};
    const Rig truth = test::random_rig(random, options);
    const std::vector<PlumbLine> lines = random_lines(random, truth, 80);
    // radial_4 is known: with it a lens bends almost as a linear map of directions, which no line
    // tells.
    Rig start = truth;
    for (MountedLens& mounted : start.lenses) {
      mounted.lens.terms[kFocal] *= 1.004;
      mounted.lens.terms[kCentreU] += 4;
      mounted.lens.terms[kCentreV] -= 3;
      mounted.lens.terms[kRadial1] += 0.003;
      mounted.lens.terms[kRadial2] -= 0.001;
      mounted.lens.terms[kAspect] += 3e-4;
      mounted.lens.terms[kShear] -= 2e-4;
      mounted.lens.terms[kDecentreU] += 2e-4;
      mounted.lens.terms[kDecentreV] -= 1e-4;
    }
    const SharedTerms terms = lens_terms_only(truth.lens_count(), kRadial3);
    AdjustOptions adjusting{.max_iterations = 100, .cost_tolerance = 1e-16, .robust_scale = 0};
    adjusting.lines = lines;
    const AdjustResult result = adjust(start, {}, 1, terms, std::nullopt, adjusting);
    REQUIRE(result.line_normals.size() == lines.size());
    CHECK(result.covariance.size() > 0);
    for (std::size_t lens = 0; lens < truth.lenses.size(); ++lens) {
      const Lens& got = result.rig.lenses[lens].lens;
      const Lens& want = truth.lenses[lens].lens;
      // The terms themselves may trade off; what a lens does is the angle of every pixel.
      double worst_rad = 0;
      for (int trial = 0; trial < 200; ++trial) {
        const Vec3 direction = test::random_direction_within(random, 0.85 * want.theta_max_rad);
        const auto seen = got.unproject(*want.project(direction));
        REQUIRE(seen);
        worst_rad = std::max(worst_rad, angle_between(*seen, direction));
      }
      CHECK(worst_rad < 1e-6);
      CHECK(got.terms[kFocal] == Approx(want.terms[kFocal]).epsilon(1e-6));
      CHECK((got.centre_px() - want.centre_px()).norm() < 1e-3);
    }
  }
}

// What random_rig draws from, as a prior around the nominal body.
SharedPrior prior_of_random_bodies(const SharedTerms& terms, const Rig& nominal) {
  const test::RigOptions options;
  const auto spread = [&](int slot) {
    if (slot == kFocal) return options.focal_spread * nominal.lenses[0].lens.terms[kFocal];
    if (slot <= kCentreV) return options.centre_spread_px;
    if (slot <= kRadial4) return options.radial_spread / std::pow(3, slot - kRadial1);
    return slot <= kShear ? options.affine_spread : options.decentring_spread;
  };
  SharedPrior prior{nominal, Eigen::MatrixXd::Zero(terms.columns(), terms.columns())};
  for (int c = 0; c < terms.columns(); ++c) {
    prior.information(c, c) = 3 / std::pow(spread(terms.slot_of(c)), 2);  // uniform within ±spread
  }
  return prior;
}

TEST_CASE("noise of plumb lines comes out in the covariance", "[lines]") {
  CAPTURE(seed());
  Random random(34);
  constexpr double kNoise_px = 0.1;
  constexpr int kBodies = 12;
  const Rig nominal = test::nominal_rig({});
  double squares = 0;
  double count = 0;
  for (int body = 0; body < kBodies; ++body) {
    const Rig truth = test::random_rig(random, {});
    const std::vector<PlumbLine> lines = random_lines(random, truth, 60, kNoise_px);
    const SharedTerms terms = lens_terms_only(2, kRadial4);
    AdjustOptions adjusting{.robust_scale = 0};
    adjusting.lines = lines;
    const AdjustResult result =
        adjust(truth, {}, 1, terms, prior_of_random_bodies(terms, nominal), adjusting);
    REQUIRE(result.covariance.rows() == terms.columns());
    const Eigen::VectorXd off = terms.difference(result.rig, truth);
    squares += off.dot(result.covariance.ldlt().solve(off));
    count += terms.columns();
  }
  // χ² of 264 terms over their number: 1 ± 0.09.
  CHECK(squares / count == Approx(1).margin(0.25));
}

TEST_CASE("a curve that is no great circle leaves, and noise gets its size", "[lines]") {
  CAPTURE(seed());
  Random random(35);
  const Rig rig = test::random_rig(random, {});
  constexpr double kNoise_px = 0.1;
  std::vector<PlumbLine> lines = random_lines(random, rig, 120, kNoise_px);
  for (PlumbLine& line : lines) {
    for (PlumbPoint& point : line.points) point.sigma_px = kNoise_px / 2;
  }
  // The seventh bows by two pixels.
  PlumbLine& bowed = lines[7];
  const Vec2 chord = (bowed.points.back().px - bowed.points.front().px).normalized();
  for (std::size_t i = 0; i < bowed.points.size(); ++i) {
    const double t = 2.0 * static_cast<double>(i) / (static_cast<double>(bowed.points.size()) - 1);
    bowed.points[i].px += 2 * t * (2 - t) * Vec2(-chord.y(), chord.x());
  }
  const SharedTerms terms = lens_terms_only(2, kRadial2);
  AdjustOptions adjusting;
  LineEvidence evidence(lines);
  AdjustResult result;
  for (int round = 0; round < 3; ++round) {
    adjusting.lines = evidence.used();
    result = adjust(rig, {}, 1, terms, std::nullopt, adjusting);
    evidence.judge(result.rig, result.line_normals, 4);
    // Judged lines are fewer: their normals are those of a solve with them alone.
    adjusting.lines = evidence.used();
    result = adjust(rig, {}, 1, terms, std::nullopt, adjusting);
  }
  const LineQuality quality = evidence.quality(result.rig, result.line_normals);
  CHECK(quality.rejected == 1);
  CHECK(quality.used == 119);
  // The fit takes some of the noise: 20 terms of 480 batches. Their median over 119 lines: ± 4 %.
  CHECK(quality.spread == Approx(2).epsilon(0.15));
  CHECK(quality.rms_px == Approx(kNoise_px).epsilon(0.1));
}

}  // namespace
}  // namespace seamwright
