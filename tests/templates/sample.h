#pragma once

// A random but valid template, and small edits of its text for tests of refusal.

#include <algorithm>
#include <set>
#include <stdexcept>
#include <string>
#include <string_view>

#include <fmt/format.h>

#include "templates/rig_template.h"
#include "tests/support/edited.h"
#include "tests/support/rigs.h"

namespace seamwright::test {

/// Random covariance A Aᵀ of a few terms whose sizes differ as real ones do.
[[nodiscard]] inline TermCovariance random_covariance(Random& random, int lens_count) {
  TermCovariance covariance;
  std::vector<double> sizes;
  for (int lens = 0; lens < lens_count; ++lens) {
    for (const auto& [term, size] : {std::pair<const char*, double>{"focal_px", 0.1},
                                     {"centre_u_px", 0.05},
                                     {"radial_1", 1e-4},
                                     {"radial_4", 1e-7},
                                     {"rotation_x_rad", 1e-5},
                                     {"pupil_z", 1e-6}}) {
      covariance.names.push_back(fmt::format("lens{}.{}", lens, term));
      sizes.push_back(size);
    }
  }
  const auto count = static_cast<Eigen::Index>(sizes.size());
  Eigen::MatrixXd root(count, count + 3);
  for (Eigen::Index i = 0; i < root.rows(); ++i) {
    for (Eigen::Index j = 0; j < root.cols(); ++j) {
      root(i, j) = sizes[static_cast<std::size_t>(i)] * random.normal(1);
    }
  }
  covariance.values = root * root.transpose();
  // The product is symmetric to rounding; a covariance is symmetric to the bit.
  covariance.values.triangularView<Eigen::StrictlyUpper>() =
      covariance.values.transpose().triangularView<Eigen::StrictlyUpper>();
  return covariance;
}

[[nodiscard]] inline RigTemplate random_template(Random& random, const RigOptions& options = {}) {
  RigTemplate value;
  value.body = fmt::format("Lantern {} \"left\\right\" ä", random.integer(0, 9999));
  value.mirrored = random.integer(0, 1) == 1;
  value.solution.rig = random_rig(random, options);
  value.solution.covariance = random_covariance(random, options.lens_count);
  SolutionQuality& quality = value.solution.quality;
  quality.shots = random.integer(1, 9);
  quality.ties = random.integer(0, 9999);
  quality.ties_rejected = random.integer(0, 99);
  quality.rms_px = random.uniform(0, 1);
  quality.max_px = random.uniform(0, 3);
  quality.inlier_share = random.uniform(0, 1);
  quality.residual_spread = random.uniform(0, 2);
  quality.expected_seam_parallax_px = random.uniform(0, 1);
  quality.expected_seam_sideways_px = random.uniform(0, 1);
  quality.flex_sigma_rad = random.uniform(0, 0.01);
  value.learned_from.push_back({.file = "hall_front.tif", .sha256 = std::string(64, 'a')});
  value.learned_from.push_back({.file = "rooms/hall back.tif", .sha256 = std::string(64, '0')});
  return value;
}

/// 1-based line of the first `marker`.
[[nodiscard]] inline int line_of(std::string_view text, std::string_view marker) {
  const auto at = text.find(marker);
  if (at == std::string_view::npos) throw std::runtime_error("no " + std::string(marker));
  return 1 + static_cast<int>(std::count(text.begin(), text.begin() + static_cast<long>(at), '\n'));
}

}  // namespace seamwright::test
