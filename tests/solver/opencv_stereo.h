#pragma once

// OpenCV's sample chessboards, and how cv::stereoCalibrate has their two cameras turned
// (study_cameras.cc).

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "projection/conventions.h"

namespace seamwright::test {

inline const cv::Size kBoardCorners(9, 6);
inline const cv::Size kBoardFrame(640, 480);
inline constexpr int kCorners = 54;
inline constexpr int kCameras = 2;

/// In OpenCV's pixels.
using CornersSeen = std::vector<cv::Point2f>;
/// What both cameras see of one board, the left one first.
using PairCorners = std::array<CornersSeen, kCameras>;

/// About the axes of the left camera.
struct Turn {
  Quat left_from_right = Quat::Identity();
  Vec3 sigma_deg = Vec3::Zero();
  double rms_px = 0;  ///< of a coordinate, for the degrees of freedom that are left
};

/// The board as it is drawn, metres.
[[nodiscard]] std::vector<cv::Point3f> drawn_board();
/// The corners of all pairs of samples. Ends the program where one is missing.
[[nodiscard]] std::vector<PairCorners> all_corners(const std::filesystem::path& folder);
/// The board as the left pictures show it (Strobl, Hirzinger 2011, More accurate pinhole camera
/// calibration with imperfect planar target, ICCV Workshops): paper is neither flat nor exact.
[[nodiscard]] std::vector<cv::Point3f> board_as_it_is(const std::vector<PairCorners>& pairs);
/// By cv::stereoCalibrate for a board of that shape. OpenCV 4.6 tells no sigma: from the
/// derivatives of cv::projectPoints at its solution, and from its own residuals.
[[nodiscard]] Turn turn_by_opencv(const std::vector<PairCorners>& pairs,
                                  const std::vector<cv::Point3f>& shape);

[[noreturn]] void give_up(const std::string& why);

}  // namespace seamwright::test
