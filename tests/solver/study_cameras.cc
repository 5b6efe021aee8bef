// How two cameras are turned against each other, by the adjustment that learns bodies and by
// cv::stereoCalibrate, from the same corners of a chessboard (run by hand):
//
//   study_cameras FOLDER
//
// FOLDER holds left01.jpg … right14.jpg of OpenCV's samples (Debian's opencv-doc): thirteen pairs
// of 640 × 480 px, nine by six corners, squares of 25 mm (left_intrinsics.yml beside them). Two
// ordinary cameras on a bar, which is what our two lenses are, too; their lenses show 75° across
// the corners.
//
// Ours is posed twice. Told the board as it is drawn, as stereoCalibrate is
// (tests/support/board_network.h); and told nothing: 54 points that stood still, seen by a body of
// two lenses in thirteen places, which is how `learn` sees a room. The paper is not what is drawn
// on it: the second is held against stereoCalibrate for the board as cv::calibrateCameraRO finds it
// in the left pictures. Both begin from round figures. Their lens is a pinhole with Brown's terms
// (k1, k2, k3, p1, p2), ours a polynomial of the angle with as many; neither can be the other
// exactly.
//
// The sigma of theirs is computed here, from the derivatives of cv::projectPoints at their solution
// and from their own residuals: 4.6 tells none. Ours is that of `adjust`, for the noise that its
// residuals show. The end is 1 where both differ by more than the larger sigma about any axis: the
// corners are the same, so that most of their errors are.

#include <array>
#include <cmath>
#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <opencv2/calib3d.hpp>

#include "solver/adjust.h"
#include "tests/solver/opencv_stereo.h"
#include "tests/support/board_network.h"

namespace {

using namespace seamwright;
using namespace seamwright::test;

// --- ours ----------------------------------------------------------------------------------------

// A camera that nobody measured: a pinhole of a round focal length, centred in the frame.
constexpr double kRoundFocal_px = 500;
Lens round_figures() {
  Lens lens;
  lens.terms[kFocal] = kRoundFocal_px;
  lens.terms[kCentreU] = 0.5 * kBoardFrame.width;
  lens.terms[kCentreV] = 0.5 * kBoardFrame.height;
  // f tan θ, to its ninth power.
  lens.terms[kRadial1] = 1.0 / 3;
  lens.terms[kRadial2] = 2.0 / 15;
  lens.terms[kRadial3] = 17.0 / 315;
  lens.terms[kRadial4] = 62.0 / 2835;
  lens.width_px = kBoardFrame.width;
  lens.height_px = kBoardFrame.height;
  lens.theta_max_rad = rad_from_deg(60);
  return lens;
}

BoardPose rough_pose(const CornersSeen& corners) {
  const cv::Matx33d camera(kRoundFocal_px, 0, 0.5 * kBoardFrame.width - 0.5, 0, kRoundFocal_px,
                           0.5 * kBoardFrame.height - 0.5, 0, 0, 1);
  cv::Vec3d rotation, shift;
  cv::solvePnP(drawn_board(), corners, camera, cv::noArray(), rotation, shift);
  return {quat_from_rotation_vector(Vec3(rotation[0], rotation[1], rotation[2])),
          Vec3(shift[0], shift[1], shift[2])};
}

// Left and right as two rough poses of one board have them.
std::array<MountedLens, kCameras> rough_pair(const PairCorners& corners) {
  const BoardPose left = rough_pose(corners[0]);
  const BoardPose right = rough_pose(corners[1]);
  std::array<MountedLens, kCameras> pair;
  pair[0].lens = pair[1].lens = round_figures();
  pair[1].rig_from_lens = left.rotation * right.rotation.conjugate();
  pair[1].pupil = left.shift - pair[1].rig_from_lens * right.shift;
  return pair;
}

std::vector<Vec2> pixels_of(const CornersSeen& corners) {
  std::vector<Vec2> px;
  for (const cv::Point2f& at : corners) px.emplace_back(at.x + 0.5, at.y + 0.5);
  return px;
}

// `told`: the board's shape.
Turn ours(const std::vector<PairCorners>& pairs, bool told) {
  constexpr double kClaimed_px = 0.3;
  std::vector<Vec3> points;
  for (const cv::Point3f& point : drawn_board()) points.emplace_back(point.x, point.y, point.z);
  const int left = told ? test::kSurveyors : 0;
  const int right = left + 1;
  Rig start;
  if (told) start.lenses = test::surveyors();
  for (const MountedLens& mounted : rough_pair(pairs[0])) start.lenses.push_back(mounted);
  BoardNetwork network(points);
  if (told) network.add_survey(start);
  for (const PairCorners& pair : pairs) {
    network.add_shot(rough_pose(pair[0]));
    network.add_sights(left, pixels_of(pair[0]), kClaimed_px);
    network.add_sights(right, pixels_of(pair[1]), kClaimed_px);
  }
  const SharedTerms terms(start.lens_count(), [&](int lens, int slot) {
    if (slot < kLensTermCount) return lens >= left && slot != kShear && slot != kRadial4;
    return lens == right && slot != kPupilTravel;
  });
  const AdjustResult found =
      adjust({start, network.ties(), network.shots(), terms, std::nullopt},
             {.max_iterations = 200, .cost_tolerance = 1e-13, .robust_scale = 0});
  if (found.stop != StopReason::converged || found.covariance.size() == 0) {
    give_up(fmt::format("adjust: {}", stop_reason_text(found.stop)));
  }
  double squares = 0;
  for (std::size_t i = 0; i < network.ties().size(); ++i) {
    const Tie& tie = network.ties()[i];
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      if (tie.sights[j].lens < left) continue;
      squares +=
          sight_residual_px(found.rig, tie, j, found.points[i], found.shots).value().squaredNorm();
    }
  }
  const auto boards = static_cast<int>(pairs.size());
  // The baseline's length is held where nothing tells the scale, and the first shot is the world.
  const int unknown = terms.columns() + (told ? 6 * boards : 6 * (boards - 1) - 1 + 3 * kCorners);
  const double rms_px = std::sqrt(squares / (boards * kCameras * kCorners * 2 - unknown));
  const MountedLens& mounted = found.rig.lenses[static_cast<std::size_t>(right)];
  Turn turn{.left_from_right = mounted.rig_from_lens, .rms_px = rms_px};
  for (int i = 0; i < 3; ++i) {
    const int at = terms.column(right, kRotationX + i);
    turn.sigma_deg[i] = deg_from_rad(std::sqrt(found.covariance(at, at)) * rms_px / kClaimed_px);
  }
  return turn;
}

// The board as it is against the drawn one, mm.
void tell_shape(const std::vector<cv::Point3f>& shape) {
  const std::vector<cv::Point3f> drawn = drawn_board();
  double off = 0, out_of_plane = 0;
  for (std::size_t i = 0; i < drawn.size(); ++i) {
    off += std::pow(cv::norm(shape[i] - drawn[i]), 2);
    out_of_plane += std::pow(shape[i].z, 2);
  }
  fmt::print("the board is {:.2f} mm (RMS) from the drawn one, {:.2f} mm out of its plane\n\n",
             1000 * std::sqrt(off / kCorners), 1000 * std::sqrt(out_of_plane / kCorners));
}

std::string three(const Vec3& degrees, const char* form) {
  return fmt::format(fmt::runtime(form), degrees.x(), degrees.y(), degrees.z());
}

// Prints a row; whether both agree.
bool compared(const char* name, const Turn& theirs, const Turn& ours) {
  const Vec3 off_deg =
      rotation_vector_from_quat(ours.left_from_right * theirs.left_from_right.conjugate()) *
      deg_from_rad(1);
  fmt::print("| {} | {:.3f} | {:.3f} | {} | {:.3f} | {} | {} |\n", name, theirs.rms_px, ours.rms_px,
             three(off_deg, "{:+.3f} {:+.3f} {:+.3f}"), off_deg.norm(),
             three(theirs.sigma_deg, "{:.3f} {:.3f} {:.3f}"),
             three(ours.sigma_deg, "{:.3f} {:.3f} {:.3f}"));
  const Vec3 larger = ours.sigma_deg.cwiseMax(theirs.sigma_deg);
  return off_deg.cwiseAbs().cwiseQuotient(larger).maxCoeff() <= 1;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fputs("usage: study_cameras FOLDER\n", stderr);
    return 1;
  }
  const std::vector<PairCorners> pairs = all_corners(argv[1]);
  const std::vector<cv::Point3f> as_it_is = board_as_it_is(pairs);
  fmt::print("{} pairs, {} corners in each picture; x right, y down, z ahead of the left camera\n",
             pairs.size(), kCorners);
  tell_shape(as_it_is);
  fmt::print(
      "| the board | theirs: RMS px | ours: RMS px | ours turned against theirs about x, y, z, "
      "degrees | in all | theirs: 1 sigma | ours: 1 sigma |\n|---|---|---|---|---|---|---|\n");
  const Turn theirs_drawn = turn_by_opencv(pairs, drawn_board());
  const Turn told_nothing = ours(pairs, false);
  const bool drawn = compared("as drawn; both are told it", theirs_drawn, ours(pairs, true));
  const bool found =
      compared("as it is; ours is told nothing", turn_by_opencv(pairs, as_it_is), told_nothing);
  // What a board that is not what is drawn on it costs: no part of the verdict.
  compared("as drawn there; ours is told nothing", theirs_drawn, told_nothing);
  fmt::print("\nthe first two within one of the larger sigma about every axis: {}, {}\n",
             drawn ? "yes" : "no", found ? "yes" : "no");
  return drawn && found ? 0 : 1;
}
