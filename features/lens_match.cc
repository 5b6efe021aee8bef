#include "features/lens_match.h"

#include <cmath>
#include <cstddef>

#include "features/disparity.h"
#include "features/gated_match.h"

namespace seamwright {

namespace {

constexpr double kSamePlace_rad = rad_from_deg(0.6);  // as near as this is no rival

class Gate {
 public:
  Gate(const Rig& rig, int lens_a, int lens_b, const LensMatchOptions& options)
      : options_(options) {
    const DisparityRange range(rig, lens_a, lens_b, options.nearest_m, options.nearest_baselines);
    widest_ = std::cos(range.widest() + options.slack_rad);
    slack_ = std::cos(options.slack_rad);
  }

  [[nodiscard]] bool lets_through(const Ray& a, const Ray& b) const {
    const double cosine = a.direction.dot(b.direction);
    if (cosine < widest_) return false;
    const RelativePose still{Quat::Identity(), Vec3::Zero()};  // one shot: no motion
    const RayPair pair{a, b};
    const auto sideways = epipolar_residual(still, pair);
    if (sideways && std::abs(*sideways) > options_.sideways_rad) return false;
    if (cosine > slack_) return true;
    const auto depths = ray_depths(still, pair);
    return depths && depths->a > 0 && depths->b > 0;
  }

 private:
  const LensMatchOptions& options_;
  double widest_ = 0;
  double slack_ = 0;
};

void match_pair(const ShotKeys& shot, const Rig& rig, int lens_a, int lens_b,
                const LensMatchOptions& options, std::vector<KeyPair>& matches) {
  const Gate gate(rig, lens_a, lens_b, options);
  const std::vector<SeenKey> keys_a = seen_keys(shot, rig, lens_a);
  const std::vector<SeenKey> keys_b = seen_keys(shot, rig, lens_b);
  const auto allowed = [&](std::size_t i, std::vector<std::size_t>& partners) {
    for (std::size_t j = 0; j < keys_b.size(); ++j) {
      if (gate.lets_through(keys_a[i].ray, keys_b[j].ray)) partners.push_back(j);
    }
  };
  const auto found =
      match_allowed({shot, keys_a}, {shot, keys_b}, allowed, options.max_ratio, kSamePlace_rad);
  matches.insert(matches.end(), found.begin(), found.end());
}

}  // namespace

std::vector<KeyPair> match_lenses(const ShotKeys& shot, const Rig& rig,
                                  const LensMatchOptions& options) {
  std::vector<KeyPair> matches;
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) match_pair(shot, rig, a, b, options, matches);
  }
  return matches;
}

}  // namespace seamwright
