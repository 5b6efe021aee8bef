#pragma once

// Photographs of one flat board, posed for the adjustment: its corners are ties, each photograph is
// a shot with a place of its own.
//
// The adjustment knows no points that are given. Where a board's shape is to be known, a surveyor
// sees it first: two lenses of which nothing is free look at every corner exactly, and so pin all
// of them, in place and in scale. What the other lenses' sights then say is held against the board
// alone, as it is in a calibration that is told the board.

#include <utility>
#include <vector>

#include "projection/rig.h"
#include "projection/tie.h"
#include "solver/shot_state.h"

namespace seamwright::test {

/// Where a board lies in a frame: point = rotation * corner + shift.
struct BoardPose {
  Quat rotation = Quat::Identity();
  Vec3 shift = Vec3::Zero();
};

/// Two lenses of a rig that see a board exactly, 0.2 m apart.
inline constexpr int kSurveyors = 2;
[[nodiscard]] inline std::vector<MountedLens> surveyors() {
  MountedLens mounted;
  mounted.lens.terms[kFocal] = 1000;
  mounted.lens.terms[kCentreU] = mounted.lens.terms[kCentreV] = 2000;
  mounted.lens.width_px = mounted.lens.height_px = 4000;
  std::vector<MountedLens> two(kSurveyors, mounted);
  two[1].pupil = Vec3(0.2, 0, 0);
  return two;
}

class BoardNetwork {
 public:
  explicit BoardNetwork(std::vector<Vec3> corners)
      : corners_(std::move(corners)), ties_(corners_.size()) {}

  /// The next shot, and about how the board lies in its rig. The first one is the world.
  void add_shot(const BoardPose& in_rig) {
    if (shots_.empty()) world_ = in_rig;
    ShotState shot;
    shot.pose.network = 0;
    shot.pose.world_from_rig = world_.rotation * in_rig.rotation.conjugate();
    shot.pose.position = world_.shift - shot.pose.world_from_rig * in_rig.shift;
    shots_.push_back(shot);
  }

  /// What a lens saw in the last shot: a pixel a corner, known to `sigma_px`.
  void add_sights(int lens, const std::vector<Vec2>& px, double sigma_px) {
    const int shot = static_cast<int>(shots_.size()) - 1;
    for (std::size_t i = 0; i < ties_.size(); ++i) {
      ties_[i].sights.push_back({.lens = lens,
                                 .px = px[i],
                                 .covariance_px2 = sigma_px * sigma_px * Mat2::Identity(),
                                 .shot = shot == 0 ? kOwnShot : shot});
    }
  }

  /// A first shot in which the first two lenses of `rig`, the surveyors(), see the board.
  void add_survey(const Rig& rig) {
    constexpr double kExact_px = 1e-4;  // beside tenths of px in photographs
    const BoardPose before{Quat::Identity(), Vec3(-0.1, -0.1, 0.5)};
    add_shot(before);
    for (int lens = 0; lens < kSurveyors; ++lens) {
      std::vector<Vec2> px;
      for (const Vec3& corner : corners_) {
        const Vec3 at = before.rotation * corner + before.shift;
        px.push_back(rig.lenses[static_cast<std::size_t>(lens)]
                         .project_point(at.normalized(), 1 / at.norm())
                         .value());
      }
      add_sights(lens, px, kExact_px);
    }
  }

  [[nodiscard]] const std::vector<Tie>& ties() const { return ties_; }
  [[nodiscard]] const std::vector<ShotState>& shots() const { return shots_; }

 private:
  std::vector<Vec3> corners_;
  std::vector<Tie> ties_;
  std::vector<ShotState> shots_;
  BoardPose world_;
};

}  // namespace seamwright::test
