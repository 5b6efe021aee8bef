#include "jobs/learning/stands.h"

#include <cmath>

namespace seamwright {

std::vector<Stand> stands_of(const LearnRigResult& solved, std::span<const std::string> names) {
  std::vector<Stand> stands;
  for (std::size_t i = 0; i < names.size(); ++i) {
    Stand stand{.shot = names[i]};
    const ShotPose& pose = solved.shots[i].pose;
    if (pose.network != kNoNetwork) {
      const Vec3 ahead = pose.world_from_rig * Vec3::UnitZ();
      const Vec3 sigma = solved.pose_covariance[i].diagonal().tail<3>().cwiseSqrt();
      stand.network = pose.network;
      stand.position_m = pose.position;
      stand.position_sigma_m = sigma;
      stand.heading_deg = deg_from_rad(std::atan2(ahead.x(), ahead.z()));
      stand.heading_sigma_deg = deg_from_rad(std::sqrt(solved.pose_covariance[i](1, 1)));
    }
    stands.push_back(std::move(stand));
  }
  return stands;
}

}  // namespace seamwright
