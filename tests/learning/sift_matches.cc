#include "tests/learning/sift_matches.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>

#include <opencv2/features2d.hpp>

#include "base/median.h"
#include "projection/ribbon.h"

namespace seamwright::test {

namespace {

constexpr double kGate_px = 6;
constexpr double kNoise_px = 0.5;  // of a SIFT key
constexpr int kSectors = 12;

struct FrameKeys {
  std::vector<cv::KeyPoint> keys;
  cv::Mat descriptors;
};

FrameKeys keys_of(const Image& frame) {
  cv::Mat grey(frame.height(), frame.width(), CV_8U);
  for (int y = 0; y < frame.height(); ++y) {
    const auto row = frame.row<std::uint8_t>(y);
    std::copy(row.begin(), row.end(), grey.ptr<std::uint8_t>(y));
  }
  FrameKeys found;
  cv::SIFT::create(0, 3, 0.02)
      ->detectAndCompute(grey, cv::noArray(), found.keys, found.descriptors);
  return found;
}

// The nearest key there of each key here, −1 where the second is about as near.
std::vector<int> nearest(const FrameKeys& here, const FrameKeys& there) {
  constexpr float kMostRatio = 0.8F;
  std::vector<std::vector<cv::DMatch>> found;
  cv::BFMatcher(cv::NORM_L2).knnMatch(here.descriptors, there.descriptors, found, 2);
  std::vector<int> best;
  for (const auto& two : found) {
    const bool clear = two.size() == 2 && two[0].distance < kMostRatio * two[1].distance;
    best.push_back(clear ? two[0].trainIdx : -1);
  }
  return best;
}

TieSight sight_of(int lens, const cv::KeyPoint& key) {
  // Pixel centres are whole numbers in OpenCV.
  return {.lens = lens,
          .px = Vec2(key.pt.x + 0.5, key.pt.y + 0.5),
          .covariance_px2 = Mat2::Identity() * kNoise_px * kNoise_px};
}

struct Apart {
  double psi_rad = 0;
  double sideways_px = 0;
  double parallax_px = 0;  // above 0 in front
};

std::optional<Apart> apart(const Rig& rig, const Tie& match) {
  const TieSight& a = match.sights[0];
  const TieSight& b = match.sights[1];
  const auto from_a = rig.lenses[static_cast<std::size_t>(a.lens)].direction_in_rig(a.px);
  const auto from_b = rig.lenses[static_cast<std::size_t>(b.lens)].direction_in_rig(b.px);
  if (!from_a || !from_b) return std::nullopt;
  const RibbonAxes axes = RibbonAxes::of_pair(rig, a.lens, b.lens);
  const RibbonAngles at_a = axes.angles(*from_a);
  const RibbonAngles at_b = axes.angles(*from_b);
  const double focal_px = rig.lenses[0].lens.terms[kFocal];
  return Apart{.psi_rad = at_a.psi_rad,
               .sideways_px = std::remainder(at_b.psi_rad - at_a.psi_rad, 2 * kPi) *
                              std::sin(0.5 * (at_a.eta_rad + at_b.eta_rad)) * focal_px,
               .parallax_px = (at_a.eta_rad - at_b.eta_rad) * focal_px};
}

}  // namespace

std::vector<Tie> sift_matches(std::span<const Image> frames) {
  std::vector<FrameKeys> keys;
  for (const Image& frame : frames) keys.push_back(keys_of(frame));
  std::vector<Tie> matches;
  for (std::size_t a = 0; a < keys.size(); ++a) {
    for (std::size_t b = a + 1; b < keys.size(); ++b) {
      const std::vector<int> there = nearest(keys[a], keys[b]);
      const std::vector<int> back = nearest(keys[b], keys[a]);
      for (std::size_t i = 0; i < there.size(); ++i) {
        if (there[i] < 0) continue;
        const auto j = static_cast<std::size_t>(there[i]);
        if (back[j] != static_cast<int>(i)) continue;
        matches.push_back({.sights = {sight_of(static_cast<int>(a), keys[a].keys[i]),
                                      sight_of(static_cast<int>(b), keys[b].keys[j])}});
      }
    }
  }
  return matches;
}

std::vector<Tie> plausible_matches(const std::vector<Tie>& matches, const Rig& one,
                                   const Rig& other) {
  constexpr double kBehind_px = -2;
  const auto meets = [](const Apart& at) {
    return std::abs(at.sideways_px) < kGate_px && at.parallax_px > kBehind_px;
  };
  std::vector<Tie> kept;
  for (const Tie& match : matches) {
    const auto by_one = apart(one, match);
    const auto by_other = apart(other, match);
    if (by_one && by_other && (meets(*by_one) || meets(*by_other))) kept.push_back(match);
  }
  return kept;
}

int ring_sector(const Rig& rig, const Tie& match) {
  const auto at = apart(rig, match);
  if (!at) return -1;
  return static_cast<int>(std::floor((at->psi_rad / (2 * kPi) + 0.5) * kSectors)) % kSectors;
}

SidewaysJudgement judge_sideways(const Rig& rig, const Rig& sectors_by,
                                 const std::vector<Tie>& matches) {
  constexpr std::size_t kEnough = 8;
  std::map<std::tuple<int, int, int>, std::vector<double>> sectors;
  std::vector<double> sizes;
  for (const Tie& match : matches) {
    const auto at = apart(rig, match);
    if (!at) continue;
    sizes.push_back(std::abs(at->sideways_px));
    sectors[{match.sights[0].lens, match.sights[1].lens, ring_sector(sectors_by, match)}].push_back(
        at->sideways_px);
  }
  SidewaysJudgement judged;
  if (!sizes.empty()) judged.median_px = median(std::move(sizes));
  double squares = 0;
  for (auto& [sector, off_px] : sectors) {
    if (off_px.size() < kEnough) continue;
    const double middle = median(std::move(off_px));
    squares += middle * middle;
    ++judged.sectors;
  }
  if (judged.sectors > 0) judged.sectors_rms_px = std::sqrt(squares / judged.sectors);
  return judged;
}

}  // namespace seamwright::test
