#pragma once

// Fifteen photographs of a checkerboard (Urban, Leitloff, Hinz 2015, ISPRS Journal of
// Photogrammetry and Remote Sensing 108:72–79; 1032 × 778, squares of 32.5 mm): corners, and where
// to begin.

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "projection/lens.h"

namespace seamwright::test {

// Counted on the pictures: nine by seven squares meet in eight by six inner corners.
inline const cv::Size kInnerCorners(8, 6);
constexpr double kSquare_m = 0.0325;
constexpr int kPhotos = 15;
constexpr double kPublishedRms_px = 0.24125;

// Corners of one photograph, in OpenCV's pixels (first pixel's centre at 0).
using Corners = std::vector<cv::Point2d>;

inline std::vector<cv::Point3d> board_points() {
  std::vector<cv::Point3d> points;
  for (int row = 0; row < kInnerCorners.height; ++row) {
    for (int column = 0; column < kInnerCorners.width; ++column) {
      points.emplace_back(column * kSquare_m, row * kSquare_m, 0);
    }
  }
  return points;
}

// Each corner refined in a window that its neighbours stay out of: squares are 25 to 150 px wide.
inline Corners find_corners(const cv::Mat& grey) {
  std::vector<cv::Point2f> corners;
  if (!cv::findChessboardCorners(grey, kInnerCorners, corners)) return {};
  Corners refined;
  for (const cv::Point2f& corner : corners) {
    double spacing = 1e9;
    for (const cv::Point2f& other : corners) {
      if (other != corner) spacing = std::min(spacing, cv::norm(other - corner));
    }
    const int half = std::clamp(static_cast<int>(0.25 * spacing), 2, 15);
    std::vector<cv::Point2f> one = {corner};
    cv::cornerSubPix(grey, one, {half, half}, {-1, -1},
                     {cv::TermCriteria::EPS + cv::TermCriteria::COUNT, 50, 1e-4});
    refined.emplace_back(one[0]);
  }
  return refined;
}

inline std::vector<Corners> corners_of_photographs(const std::filesystem::path& folder) {
  std::vector<Corners> photographs;
  for (int i = 1; i <= kPhotos; ++i) {
    const cv::Mat grey =
        cv::imread((folder / fmt::format("Fisheye1_{}.jpg", i)).string(), cv::IMREAD_GRAYSCALE);
    REQUIRE(grey.size() == cv::Size(1032, 778));
    photographs.push_back(find_corners(grey));
    CAPTURE(i);
    REQUIRE(photographs.back().size() == 48);
  }
  return photographs;
}

inline Vec2 ours_from(const cv::Point2d& px) { return {px.x + 0.5, px.y + 0.5}; }

// RMS of distances and of single coordinates.
struct Rms {
  double distance_px = 0;
  double coordinate_px = 0;
};

inline Rms rms_of(double sum_of_squares, std::size_t corners) {
  const double mean = sum_of_squares / static_cast<double>(corners);
  return {std::sqrt(mean), std::sqrt(mean / 2)};
}

// A lens that nobody measured: equidistant, centred in the frame, a round focal length.
inline Lens nominal_lens() {
  Lens lens;
  lens.terms[kFocal] = 300;
  lens.terms[kCentreU] = 516;
  lens.terms[kCentreV] = 389;
  lens.width_px = 1032;
  lens.height_px = 778;
  lens.theta_max_rad = rad_from_deg(95);
  return lens;
}

// A board's pose as a lens of nominal terms sees it, from the corners that are not too far off axis
// for a plane picture.
inline std::array<double, 6> first_pose(const Lens& nominal, const Corners& corners) {
  constexpr double kLeastCosine = 0.25;
  std::vector<cv::Point3d> on_board;
  std::vector<cv::Point2d> plane;
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const auto ray = nominal.unproject(ours_from(corners[i]));
    if (!ray || ray->z() < kLeastCosine) continue;
    on_board.push_back(board_points()[i]);
    plane.emplace_back(ray->x() / ray->z(), ray->y() / ray->z());
  }
  REQUIRE(plane.size() >= 12);
  cv::Vec3d rotation;
  cv::Vec3d shift;
  cv::solvePnP(on_board, plane, cv::Matx33d::eye(), cv::noArray(), rotation, shift, false,
               cv::SOLVEPNP_IPPE);
  return {rotation[0], rotation[1], rotation[2], shift[0], shift[1], shift[2]};
}

}  // namespace seamwright::test
