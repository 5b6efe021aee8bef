#include "tests/solver/opencv_stereo.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>

#include <Eigen/Dense>
#include <fmt/format.h>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace seamwright::test {

namespace {

constexpr double kSquare_m = 0.025;

CornersSeen corners_in(const std::filesystem::path& file) {
  const cv::Mat grey = cv::imread(file.string(), cv::IMREAD_GRAYSCALE);
  if (grey.size() != kBoardFrame) give_up(file.string() + ": cannot read it as 640 x 480 px");
  CornersSeen corners;
  if (!cv::findChessboardCorners(grey, kBoardCorners, corners))
    give_up(file.string() + ": no board");
  cv::cornerSubPix(grey, corners, {11, 11}, {-1, -1},
                   {cv::TermCriteria::EPS + cv::TermCriteria::COUNT, 50, 1e-4});
  return corners;
}

cv::TermCriteria to_the_end() {
  return {cv::TermCriteria::EPS + cv::TermCriteria::COUNT, 500, 1e-12};
}

struct Camera {
  cv::Mat matrix;  // 3 × 3
  cv::Mat terms;   // k1, k2, p1, p2, k3
};

struct Stereo {
  std::vector<cv::Point3f> shape;  // of the board
  std::array<Camera, kCameras> cameras;
  cv::Matx33d right_from_left;
  cv::Vec3d shift;                   // of the same
  std::vector<cv::Vec3d> rotations;  // of the boards, in the left camera
  std::vector<cv::Vec3d> shifts;
};

Stereo calibrated(const std::vector<PairCorners>& pairs, const std::vector<cv::Point3f>& shape) {
  const std::vector<std::vector<cv::Point3f>> boards(pairs.size(), shape);
  Stereo stereo;
  stereo.shape = shape;
  std::array<std::vector<CornersSeen>, kCameras> seen;
  for (std::size_t k = 0; k < kCameras; ++k) {
    for (const PairCorners& pair : pairs) seen[k].push_back(pair[k]);
    std::vector<cv::Mat> rotations, shifts;
    Camera& camera = stereo.cameras[k];
    // A board that is not flat needs a lens to begin with.
    const std::vector<std::vector<cv::Point3f>> drawn(pairs.size(), drawn_board());
    cv::calibrateCamera(drawn, seen[k], kBoardFrame, camera.matrix, camera.terms, rotations, shifts,
                        0, to_the_end());
    cv::calibrateCamera(boards, seen[k], kBoardFrame, camera.matrix, camera.terms, rotations,
                        shifts, cv::CALIB_USE_INTRINSIC_GUESS, to_the_end());
  }
  cv::Mat essential, fundamental, turn, shift;
  cv::stereoCalibrate(boards, seen[0], seen[1], stereo.cameras[0].matrix, stereo.cameras[0].terms,
                      stereo.cameras[1].matrix, stereo.cameras[1].terms, kBoardFrame, turn, shift,
                      essential, fundamental, cv::CALIB_USE_INTRINSIC_GUESS, to_the_end());
  stereo.right_from_left = turn;
  stereo.shift = cv::Vec3d(shift);
  // 4.6 does not hand out the boards of the joint solution: those that fit it best to begin with.
  for (const PairCorners& pair : pairs) {
    cv::solvePnP(shape, pair[0], stereo.cameras[0].matrix, stereo.cameras[0].terms,
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
      for (const cv::Point3f& point : stereo.shape) points.emplace_back(point);
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

}  // namespace

void give_up(const std::string& why) {
  std::fprintf(stderr, "study_cameras: %s\n", why.c_str());
  std::exit(1);
}

std::vector<cv::Point3f> drawn_board() {
  std::vector<cv::Point3f> points;
  for (int y = 0; y < kBoardCorners.height; ++y) {
    for (int x = 0; x < kBoardCorners.width; ++x) {
      points.emplace_back(static_cast<float>(x * kSquare_m), static_cast<float>(y * kSquare_m),
                          0.0F);
    }
  }
  return points;
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

std::vector<cv::Point3f> board_as_it_is(const std::vector<PairCorners>& pairs) {
  std::vector<CornersSeen> seen;
  for (const PairCorners& pair : pairs) seen.push_back(pair[0]);
  const std::vector<std::vector<cv::Point3f>> boards(pairs.size(), drawn_board());
  cv::Mat matrix, terms;
  std::vector<cv::Mat> rotations, shifts;
  std::vector<cv::Point3f> found;
  cv::calibrateCameraRO(boards, seen, kBoardFrame, kBoardCorners.width - 1, matrix, terms,
                        rotations, shifts, found, 0, to_the_end());
  return found;
}

Turn turn_by_opencv(const std::vector<PairCorners>& pairs, const std::vector<cv::Point3f>& shape) {
  const Stereo stereo = calibrated(pairs, shape);
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
  Turn turn{.left_from_right = left_from_right_of(stereo.right_from_left),
            .rms_px = std::sqrt(variance)};
  for (int i = 0; i < 3; ++i) {
    const int at = kTurnAt + i;
    turn.sigma_deg[i] = deg_from_rad(scale[at] * std::sqrt(variance * inverse(at, at)));
  }
  return turn;
}

}  // namespace seamwright::test
