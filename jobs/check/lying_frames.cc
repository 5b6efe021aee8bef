#include "jobs/check/lying_frames.h"

#include <algorithm>

#include "compose/finish/level.h"
#include "jobs/learning/shot_to_learn.h"

namespace seamwright {

namespace {

constexpr int kShotsAsked = 3;

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
    const Image& first = frames.front().image;
    const Rig rig = outcome.rig_template.rig().scaled_to(first.width(), first.height());
    if (find_vertical(rig, frames)) {
      ++upright;
    } else if (find_vertical(turned(rig, quarter), frames)) {
      ++lying;
    }
  }
  return lying > upright;
}

}  // namespace seamwright
