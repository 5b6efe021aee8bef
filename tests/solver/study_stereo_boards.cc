// How two cameras are turned against each other, by the adjustment that learns bodies and by
// cv::stereoCalibrate, from the same corners of a chessboard (run by hand):
//
//   study_stereo_boards FOLDER
//
// FOLDER holds left01.jpg … right14.jpg of OpenCV's samples (Debian's opencv-doc): thirteen pairs
// of 640 × 480 px, nine by six corners, squares of 25 mm (left_intrinsics.yml beside them). Two
// ordinary cameras on a bar, which is what our two lenses are, too; their lenses show 75° across
// the corners.
//
// Ours is posed twice. Told the board, as stereoCalibrate is (tests/support/board_network.h); and
// told nothing: 54 points that stood still, seen by a body of two lenses in thirteen places, which
// is how `learn` sees a room. Both begin from round figures. Their lens is a pinhole with Brown's
// terms (k1, k2, k3, p1, p2), ours a polynomial of the angle with as many; neither can be the other
// exactly. The sigma of theirs is computed here, from the derivatives of cv::projectPoints at their
// solution and from their own residuals: 4.6 tells none. Ours is that of `adjust`, for the noise
// that its residuals show.
//
// The end is 1 where a difference exceeds three of the larger sigma about any axis: the corners are
// the same, so that the errors are common, and what differs is the lens model and the solver.

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <Eigen/Dense>
#include <fmt/format.h>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "solver/adjust.h"
#include "tests/support/board_network.h"

namespace {

using namespace seamwright;
using test::BoardNetwork;
using test::BoardPose;

const cv::Size kInner(9, 6);
const cv::Size kFrame(640, 480);
constexpr double kSquare_m = 0.025;
constexpr int kCorners = 54;
constexpr int kCameras = 2;

using Corners = std::vector<cv::Point2f>;

// What both cameras see of one board.
using PairCorners = std::array<Corners, kCameras>;

void give_up(const std::string& why) {
  std::fprintf(stderr, "study_stereo_boards: %s\n", why.c_str());
  std::exit(1);
}

std::vector<cv::Point3f> board() {
  std::vector<cv::Point3f> points;
  for (int y = 0; y < kInner.height; ++y) {
    for (int x = 0; x < kInner.width; ++x) {
      points.emplace_back(static_cast<float>(x * kSquare_m), static_cast<float>(y * kSquare_m),
                          0.0F);
    }
  }
  return points;
}

Corners corners_in(const std::filesystem::path& file) {
  const cv::Mat grey = cv::imread(file.string(), cv::IMREAD_GRAYSCALE);
  if (grey.size() != kFrame) give_up(file.string() + ": cannot read it as 640 x 480 px");
  Corners corners;
  if (!cv::findChessboardCorners(grey, kInner, corners)) give_up(file.string() + ": no board");
  cv::cornerSubPix(grey, corners, {11, 11}, {-1, -1},
                   {cv::TermCriteria::EPS + cv::TermCriteria::COUNT, 50, 1e-4});
  return corners;
}

std::vector<PairCorners> all_corners(const std::filesystem::path& folder) {
  std::vector<PairCorners> pairs;
  for (int i = 1; i <= 14; ++i) {
    const auto file = [&](const char* side) {
      return folder / fmt::format("{}{:02}.jpg", side, i);
    };
    if (i == 10) continue;  // the samples have none
    pairs.push_back({corners_in(file("left")), corners_in(file("right"))});
  }
  return pairs;
}

// About the axes of the left camera, degrees.
struct Turn {
  std::string who;
  Quat left_from_right = Quat::Identity();
  Vec3 sigma_deg = Vec3::Zero();
  double rms_px = 0;      // of a coordinate, for the degrees of freedom that are left
  double baseline_m = 0;  // 0: given
};

// --- OpenCV --------------------------------------------------------------------------------------

struct Camera {
  cv::Mat matrix;  // 3 × 3
  cv::Mat terms;   // k1, k2, p1, p2, k3
};

struct Stereo {
  std::array<Camera, kCameras> cameras;
  cv::Matx33d right_from_left;
  cv::Vec3d shift;                   // of the same
  std::vector<cv::Vec3d> rotations;  // of the boards, in the left camera
  std::vector<cv::Vec3d> shifts;
};

Stereo calibrated(const std::vector<PairCorners>& pairs) {
  const std::vector<std::vector<cv::Point3f>> boards(pairs.size(), board());
  const cv::TermCriteria to_the_end(cv::TermCriteria::EPS + cv::TermCriteria::COUNT, 500, 1e-12);
  Stereo stereo;
  std::array<std::vector<Corners>, kCameras> seen;
  for (std::size_t k = 0; k < kCameras; ++k) {
    for (const PairCorners& pair : pairs) seen[k].push_back(pair[k]);
    std::vector<cv::Mat> rotations, shifts;
    Camera& camera = stereo.cameras[k];
    cv::calibrateCamera(boards, seen[k], kFrame, camera.matrix, camera.terms, rotations, shifts, 0,
                        to_the_end);
  }
  cv::Mat essential, fundamental, turn, shift;
  cv::stereoCalibrate(boards, seen[0], seen[1], stereo.cameras[0].matrix, stereo.cameras[0].terms,
                      stereo.cameras[1].matrix, stereo.cameras[1].terms, kFrame, turn, shift,
                      essential, fundamental, cv::CALIB_USE_INTRINSIC_GUESS, to_the_end);
  stereo.right_from_left = turn;
  stereo.shift = cv::Vec3d(shift);
  // 4.6 does not hand out the boards of the joint solution: those that fit it best to begin with.
  for (const PairCorners& pair : pairs) {
    cv::solvePnP(board(), pair[0], stereo.cameras[0].matrix, stereo.cameras[0].terms,
                 stereo.rotations.emplace_back(), stereo.shifts.emplace_back());
  }
  return stereo;
}

// All that their solution is made of, as one row of numbers: nine a camera; turn of the right
// camera (about the axes of the left one, against the solution) and its shift; six a board.
constexpr int kOfCamera = 9;
constexpr int kTurnAt = kCameras * kOfCamera;
constexpr int kBoardsAt = kTurnAt + 6;

Eigen::VectorXd unknowns_of(const Stereo& stereo) {
  Eigen::VectorXd x(kBoardsAt + 6 * static_cast<int>(stereo.rotations.size()));
  for (std::size_t k = 0; k < kCameras; ++k) {
    const auto& [matrix, terms] = stereo.cameras[k];
    const auto at = static_cast<int>(k) * kOfCamera;
    x.segment<4>(at) << matrix.at<double>(0, 0), matrix.at<double>(1, 1), matrix.at<double>(0, 2),
        matrix.at<double>(1, 2);
    for (int i = 0; i < 5; ++i) x[at + 4 + i] = terms.at<double>(i);
  }
  x.segment<3>(kTurnAt).setZero();
  for (int i = 0; i < 3; ++i) x[kTurnAt + 3 + i] = stereo.shift[i];
  for (std::size_t b = 0; b < stereo.rotations.size(); ++b) {
    for (int i = 0; i < 3; ++i) {
      x[kBoardsAt + 6 * static_cast<int>(b) + i] = stereo.rotations[b][i];
      x[kBoardsAt + 6 * static_cast<int>(b) + 3 + i] = stereo.shifts[b][i];
    }
  }
  return x;
}

cv::Matx33d matrix_of(const cv::Vec3d& rotation) {
  cv::Matx33d matrix;
  cv::Rodrigues(rotation, matrix);
  return matrix;
}

// Projected less seen, through OpenCV's own projection.
Eigen::VectorXd residuals(const Stereo& stereo, const std::vector<PairCorners>& pairs,
                          const Eigen::VectorXd& x) {
  Eigen::VectorXd all(static_cast<int>(pairs.size()) * kCameras * kCorners * 2);
  int row = 0;
  const cv::Vec3d off(x[kTurnAt], x[kTurnAt + 1], x[kTurnAt + 2]);
  const cv::Matx33d turn = stereo.right_from_left * matrix_of(-off);
  const cv::Vec3d shift(x[kTurnAt + 3], x[kTurnAt + 4], x[kTurnAt + 5]);
  for (std::size_t b = 0; b < pairs.size(); ++b) {
    const double* pose = x.data() + kBoardsAt + 6 * static_cast<int>(b);
    cv::Matx33d rotation = matrix_of({pose[0], pose[1], pose[2]});
    cv::Vec3d place(pose[3], pose[4], pose[5]);
    for (std::size_t k = 0; k < kCameras; ++k) {
      if (k == 1) {
        rotation = turn * rotation;
        place = turn * place + shift;
      }
      const double* c = x.data() + static_cast<int>(k) * kOfCamera;
      const cv::Matx33d camera(c[0], 0, c[2], 0, c[1], c[3], 0, 0, 1);
      std::vector<cv::Point2f> projected;
      cv::Vec3d rotation_vector;
      cv::Rodrigues(rotation, rotation_vector);
      std::vector<cv::Point3d> points;
      for (const cv::Point3f& point : board()) points.emplace_back(point);
      std::vector<cv::Point2d> at;
      cv::projectPoints(points, rotation_vector, place, camera,
                        cv::Vec<double, 5>(c[4], c[5], c[6], c[7], c[8]), at);
      for (std::size_t i = 0; i < at.size(); ++i) {
        all[row++] = at[i].x - pairs[b][k][i].x;
        all[row++] = at[i].y - pairs[b][k][i].y;
      }
    }
  }
  return all;
}

Eigen::MatrixXd slopes(const Stereo& stereo, const std::vector<PairCorners>& pairs,
                       const Eigen::VectorXd& x) {
  Eigen::MatrixXd jacobian(residuals(stereo, pairs, x).size(), x.size());
  for (int i = 0; i < x.size(); ++i) {
    const double step = 1e-6 * std::max(1.0, std::abs(x[i]));
    Eigen::VectorXd ahead = x, behind = x;
    ahead[i] += step;
    behind[i] -= step;
    jacobian.col(i) =
        (residuals(stereo, pairs, ahead) - residuals(stereo, pairs, behind)) / (2 * step);
  }
  return jacobian;
}

Quat left_from_right_of(const cv::Matx33d& right_from_left) {
  Mat3 matrix;
  for (int r = 0; r < 3; ++r) {
    for (int c = 0; c < 3; ++c) matrix(r, c) = right_from_left(r, c);
  }
  return Quat(matrix).normalized().conjugate();
}

Turn opencvs(const std::vector<PairCorners>& pairs) {
  const Stereo stereo = calibrated(pairs);
  Eigen::VectorXd x = unknowns_of(stereo);
  // The boards alone, to the end; the cameras stay as stereoCalibrate left them.
  const auto boards = x.size() - kBoardsAt;
  for (int i = 0; i < 10; ++i) {
    const Eigen::MatrixXd of_boards = slopes(stereo, pairs, x).rightCols(boards);
    x.tail(boards) -= of_boards.colPivHouseholderQr().solve(residuals(stereo, pairs, x));
  }
  const Eigen::VectorXd left = residuals(stereo, pairs, x);
  const Eigen::MatrixXd jacobian = slopes(stereo, pairs, x);
  const double variance =
      left.squaredNorm() / static_cast<double>(jacobian.rows() - jacobian.cols());
  // Unknowns of very different size: scaled, inverted, scaled back.
  const Eigen::VectorXd scale = jacobian.colwise().norm().cwiseInverse().transpose();
  const Eigen::MatrixXd scaled = jacobian * scale.asDiagonal();
  const Eigen::MatrixXd inverse = (scaled.transpose() * scaled).inverse();
  Turn turn{.who = "cv::stereoCalibrate",
            .left_from_right = left_from_right_of(stereo.right_from_left),
            .rms_px = std::sqrt(variance),
            .baseline_m = cv::norm(stereo.shift)};
  for (int i = 0; i < 3; ++i) {
    const int at = kTurnAt + i;
    turn.sigma_deg[i] = deg_from_rad(scale[at] * std::sqrt(variance * inverse(at, at)));
  }
  return turn;
}

// --- ours ----------------------------------------------------------------------------------------

// A camera that nobody measured: a pinhole of a round focal length, centred in the frame.
constexpr double kRoundFocal_px = 500;
Lens round_figures() {
  Lens lens;
  lens.terms[kFocal] = kRoundFocal_px;
  lens.terms[kCentreU] = 0.5 * kFrame.width;
  lens.terms[kCentreV] = 0.5 * kFrame.height;
  // f tan θ, to its ninth power.
  lens.terms[kRadial1] = 1.0 / 3;
  lens.terms[kRadial2] = 2.0 / 15;
  lens.terms[kRadial3] = 17.0 / 315;
  lens.terms[kRadial4] = 62.0 / 2835;
  lens.width_px = kFrame.width;
  lens.height_px = kFrame.height;
  lens.theta_max_rad = rad_from_deg(60);
  return lens;
}

BoardPose rough_pose(const Corners& corners) {
  const cv::Matx33d camera(kRoundFocal_px, 0, 0.5 * kFrame.width - 0.5, 0, kRoundFocal_px,
                           0.5 * kFrame.height - 0.5, 0, 0, 1);
  cv::Vec3d rotation, shift;
  cv::solvePnP(board(), corners, camera, cv::noArray(), rotation, shift);
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

std::vector<Vec2> pixels_of(const Corners& corners) {
  std::vector<Vec2> px;
  for (const cv::Point2f& at : corners) px.emplace_back(at.x + 0.5, at.y + 0.5);
  return px;
}

// `told`: the board's shape.
Turn ours(const std::vector<PairCorners>& pairs, bool told) {
  constexpr double kClaimed_px = 0.3;
  std::vector<Vec3> points;
  for (const cv::Point3f& point : board()) points.emplace_back(point.x, point.y, point.z);
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
      adjust(start, network.ties(), network.shots(), terms, std::nullopt,
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
  Turn turn{.who = told ? "adjust, told the board" : "adjust, told nothing",
            .left_from_right = mounted.rig_from_lens,
            .rms_px = rms_px,
            .baseline_m = told ? mounted.pupil.norm() : 0};
  for (int i = 0; i < 3; ++i) {
    const int at = terms.column(right, kRotationX + i);
    turn.sigma_deg[i] = deg_from_rad(std::sqrt(found.covariance(at, at)) * rms_px / kClaimed_px);
  }
  return turn;
}

// Prints a row; whether it agrees with `theirs`.
bool compared(const Turn& turn, const Turn& theirs) {
  const Vec3 off_deg =
      rotation_vector_from_quat(turn.left_from_right * theirs.left_from_right.conjugate()) *
      deg_from_rad(1);
  const std::string baseline =
      turn.baseline_m > 0 ? fmt::format("{:.2f}", 1000 * turn.baseline_m) : "held";
  fmt::print("| {} | {:.4f} | {} | {:+.4f} {:+.4f} {:+.4f} | {:.4f} | {:.4f} {:.4f} {:.4f} |\n",
             turn.who, turn.rms_px, baseline, off_deg.x(), off_deg.y(), off_deg.z(), off_deg.norm(),
             turn.sigma_deg.x(), turn.sigma_deg.y(), turn.sigma_deg.z());
  const Vec3 larger = turn.sigma_deg.cwiseMax(theirs.sigma_deg);
  return off_deg.cwiseAbs().cwiseQuotient(larger).maxCoeff() <= 3;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fputs("usage: study_stereo_boards FOLDER\n", stderr);
    return 1;
  }
  const std::vector<PairCorners> pairs = all_corners(argv[1]);
  const Turn theirs = opencvs(pairs);
  fmt::print(
      "{} pairs, {} corners in each picture; x right, y down, z ahead of the left camera\n\n",
      pairs.size(), kCorners);
  fmt::print(
      "| by | RMS px | baseline mm | turned against stereoCalibrate about x, y, z, degrees | "
      "in all | 1 sigma about x, y, z, degrees |\n|---|---|---|---|---|---|\n");
  bool agree = compared(theirs, theirs);
  for (const bool told : {true, false}) agree = compared(ours(pairs, told), theirs) && agree;
  fmt::print("\nwithin three of the larger sigma about every axis: {}\n", agree ? "yes" : "no");
  return agree ? 0 : 1;
}
