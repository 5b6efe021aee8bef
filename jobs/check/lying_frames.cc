#include "jobs/check/lying_frames.h"

#include <algorithm>

#include "compose/finish/level.h"
#include "jobs/learning/shot_to_learn.h"

namespace seamwright {

namespace {

constexpr int kShotsAsked = 3;
// Stands are set up so well. A wider cone would more often hold the level edges of a room as well.
constexpr VerticalOptions kNearly{.largest_tilt_deg = 6};

std::vector<EdgePlane> turned_edges(std::vector<EdgePlane> edges, const Quat& turn) {
  const Mat3 rotation = turn.toRotationMatrix();
  for (EdgePlane& edge : edges) {
    edge.normal = rotation * edge.normal;
    edge.covariance = rotation * edge.covariance * rotation.transpose();
  }
  return edges;
}

bool counted(const LearnShot& shot, const LearnOutcome& outcome) {
  return std::any_of(outcome.shots.begin(), outcome.shots.end(), [&](const ShotOutcome& one) {
    return one.name == shot.name && one.left_out.empty();
  });
}

}  // namespace

bool frames_lie_on_side(std::span<const LearnShot> shots, const LearnOutcome& outcome) {
  const Quat quarter(Eigen::AngleAxisd(kPi / 2, Vec3::UnitZ()));
  int upright = 0, lying = 0, asked = 0;
  for (const LearnShot& shot : shots) {
    if (asked == kShotsAsked) break;
    if (!counted(shot, outcome)) continue;
    const std::vector<Frame> frames = frames_as_learned(shot, outcome.rig_template.mirrored);
    if (frames.empty()) continue;
    ++asked;
    const auto edges = find_edges(outcome.rig_template.rig(), frames);
    if (!edges) continue;
    // A room that is looked at squarely has level edges there as well, and tells nothing.
    const bool as_is = find_vertical(*edges, kNearly).has_value();
    const bool on_side = find_vertical(turned_edges(*edges, quarter), kNearly).has_value();
    upright += as_is && !on_side ? 1 : 0;
    lying += on_side && !as_is ? 1 : 0;
  }
  return lying > upright;
}

}  // namespace seamwright
