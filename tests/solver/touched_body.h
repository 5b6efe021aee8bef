#pragma once

// A body with a template that is wrong by just what its covariance says, and shots of it whose
// lenses have flexed.

#include <cmath>
#include <stdexcept>
#include <vector>

#include <Eigen/Cholesky>

#include "solver/body_spread.h"
#include "solver/ring_directions.h"
#include "solver/seam_error.h"
#include "solver/touch.h"
#include "tests/support/rigs.h"
#include "tests/support/ties.h"

namespace seamwright::test {

struct TouchedBody {
  Rig truth;
  Rig template_rig;
  TermCovariance covariance;
  double flex_sigma_rad = rad_from_deg(0.02);  ///< what the template says of flex
};

/// The covariance that six rooms and three yards leave, at the truth; the template is a draw from
/// it.
[[nodiscard]] inline TouchedBody touched_body(Random& random, int lens_count = 2) {
  RigOptions shape{.lens_count = lens_count};
  shape.theta_max_rad = rad_from_deg(101);
  shape.affine_spread = 1e-4;
  shape.decentring_spread = 2e-4;
  TouchedBody body;
  constexpr int kShots = 9;
  body.truth = random_rig(random, shape);
  std::vector<Tie> ties;
  for (int shot = 0; shot < kShots; ++shot) {
    const bool yard = shot >= kShots - 3;
    const Scene scene = yard ? open_yard(40)
                             : box_room({2, 1.3, 2.5}, {0.3 * shot, -0.2, 0.2 * shot - 0.3},
                                        quat_from_rotation_vector(Vec3(0, shot, 0)));
    const auto more =
        synthetic_ties(random, body.truth, scene, shot,
                       {.per_pair = 120, .range = yard ? TieRange::far : TieRange::open});
    ties.insert(ties.end(), more.begin(), more.end());
  }
  for (Tie& tie : ties) {
    for (TieSight& sight : tie.sights) sight.covariance_px2 = Mat2::Identity() * 0.15 * 0.15;
  }
  const SharedTerms terms = all_rig_terms(lens_count);
  const AdjustResult fit =
      adjust(body.truth, ties, kShots, terms, prior_of(BodySpread{}, body.truth, terms),
             {.max_iterations = 1,
              .free_flex = true,
              .flex_sigma_rad = body.flex_sigma_rad,
              .far_sigma_per_m = 0.003});
  body.covariance = {terms.names(), fit.covariance};
  const Eigen::VectorXd sigma = fit.covariance.diagonal().cwiseSqrt();
  const Eigen::MatrixXd correlation =
      sigma.cwiseInverse().asDiagonal() * fit.covariance * sigma.cwiseInverse().asDiagonal();
  const Eigen::MatrixXd root = correlation.llt().matrixL();
  Eigen::VectorXd draw(terms.columns());
  for (Eigen::Index i = 0; i < draw.size(); ++i) draw[i] = random.normal(1);
  body.template_rig = terms.stepped(body.truth, sigma.asDiagonal() * (root * draw));
  return body;
}

/// The body as it was in one shot: every lens but the first turned, per axis.
[[nodiscard]] inline Rig flexed_at_random(Random& random, const Rig& rig, double sigma_rad) {
  std::vector<Vec3> flex(rig.lenses.size(), Vec3::Zero());
  for (std::size_t i = 1; i < flex.size(); ++i) {
    if (sigma_rad > 0) {
      flex[i] = Vec3(random.normal(sigma_rad), random.normal(sigma_rad), random.normal(sigma_rad));
    }
  }
  return flexed(rig, flex);
}

/// What a hand sets in the first two lenses: at an azimuth of their ribbon and a share of the width
/// they overlap there.
struct HandTie {
  double psi_rad = 0;
  double eta_share = 0.5;
  TieRange range = TieRange::open;
  double inverse_depth = 0.4;
  double noise_px = 0.5;
};

[[nodiscard]] inline Tie manual_tie(Random& random, const Rig& shot, const HandTie& of) {
  const RibbonAxes axes = RibbonAxes::of_pair(shot, 0, 1);
  const auto shared = shared_colatitudes(shot, 0, 1, of.psi_rad, rad_from_deg(2.5));
  if (!shared) throw std::runtime_error("manual_tie: no overlap at this azimuth");
  const double eta_rad = shared->begin_rad + of.eta_share * (shared->end_rad - shared->begin_rad);
  const Vec3 direction = axes.direction({of.psi_rad, eta_rad});
  const double noise_px = of.noise_px;
  const double sigma_px = noise_px > 0 ? noise_px : 0.5;
  Tie tie{.shot = 0, .sights = {}, .range = of.range, .origin = TieOrigin::manual};
  for (const int lens : {0, 1}) {
    const auto px =
        shot.lenses[static_cast<std::size_t>(lens)].project_point(direction, of.inverse_depth);
    if (!px) throw std::runtime_error("manual_tie: not seen");
    const Vec2 noise =
        noise_px > 0 ? Vec2(random.normal(noise_px), random.normal(noise_px)) : Vec2(Vec2::Zero());
    tie.sights.push_back({lens, *px + noise, Mat2::Identity() * sigma_px * sigma_px});
  }
  return tie;
}

}  // namespace seamwright::test
