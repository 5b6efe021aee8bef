#include "ruler.h"
#include "sphere.h"

namespace independent {

ZoneLight zone_light(const Picture& stitched, const Room& room, const Stand& stand,
                     const Vector3d& turn_deg, double white) {
  constexpr int kSide = 15;
  constexpr double kStep = 5 * kDegree / kSide;
  constexpr double kZone_deg = 10;
  constexpr int kLeast_patches = 8;
  struct Zone {
    double is = 0;
    double should = 0;
    int patches = 0;
  };
  const Matrix3d turn = turn_of(turn_deg);
  const Vector3d ahead = stand.upright_from_body().col(2);
  const Sphere picture(stitched);
  const Sphere ideal(room.light);
  std::array<std::array<Zone, 20>, 3> zones;
  for (const Vector3d& q : spread(4)) {
    if (!away_from_seam_and_stand(stand, q)) continue;
    const Vector3d due = turn * seen_from_pupil(room, stand, q);
    const double off_axis_deg = std::acos(q.dot(ahead)) / kDegree;
    for (int c = 0; c < 3; ++c) {
      const auto of = [&](const Sphere& sphere, const Vector3d& middle) {
        return patch_around([&](const Vector3d& v) { return sphere.at(v, c); }, middle, {0, 0},
                            kSide, kStep);
      };
      const Samples should = of(ideal, q);
      if (*std::max_element(should.begin(), should.end()) > white) continue;
      const Samples is = of(picture, due);
      Zone& zone =
          zones[static_cast<std::size_t>(c)][static_cast<std::size_t>(off_axis_deg / kZone_deg)];
      zone.is += std::accumulate(is.begin(), is.end(), 0.0);
      zone.should += std::accumulate(should.begin(), should.end(), 0.0);
      ++zone.patches;
    }
  }
  ZoneLight result;
  for (const auto& channel : zones) {
    std::vector<double> ratios;
    for (const Zone& zone : channel) {
      if (zone.patches >= kLeast_patches) ratios.push_back(zone.is / zone.should);
    }
    if (ratios.empty()) continue;
    const double factor = median(ratios);
    for (const double ratio : ratios) {
      result.most = std::max(result.most, std::abs(ratio / factor - 1));
      ++result.zones;
    }
  }
  return result;
}

FrameLight frame_light(const Picture& merged, const Picture& truth, double dark, double white) {
  constexpr int kSide = 8;
  std::vector<double> ratios;
  for (int y = 0; y + kSide <= truth.height; y += kSide) {
    for (int x = 0; x + kSide <= truth.width; x += kSide) {
      for (int c = 0; c < 3; ++c) {
        double is = 0;
        double should = 0;
        double least = 1e9;
        double most = 0;
        for (int j = 0; j < kSide; ++j) {
          for (int i = 0; i < kSide; ++i) {
            const double light = truth.at(x + i, y + j, c);
            least = std::min(least, light);
            most = std::max(most, light);
            should += light;
            is += merged.at(x + i, y + j, c);
          }
        }
        if (least > dark && most < white) ratios.push_back(is / should);
      }
    }
  }
  FrameLight result;
  if (ratios.empty()) return result;
  const double factor = median(ratios);
  for (double& ratio : ratios) ratio = std::abs(ratio / factor - 1);
  std::sort(ratios.begin(), ratios.end());
  result.means = static_cast<int>(ratios.size());
  result.p95 = ratios[ratios.size() * 95 / 100];
  result.most = ratios.back();
  return result;
}

}  // namespace independent
