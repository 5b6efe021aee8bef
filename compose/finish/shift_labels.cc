#include "compose/finish/shift_labels.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include <opencv2/imgproc.hpp>
#include <opencv2/imgproc/detail/gcgraph.hpp>

namespace seamwright {

namespace {

constexpr int kBlock_px = 12;
constexpr int kBlockStep_px = 4;
constexpr int kLeastOffset_px = 6;  // nearer ones are what is smooth
constexpr std::size_t kMostOffsets = 80;
constexpr double kRing = 1.0;   // blocks within this many radii around the hole
constexpr double kReach = 2.5;  // in hole radii: how far a block looks for its like
constexpr int kSweeps = 2;
constexpr int kContext_px = 3;  // the border is compared over patches of 7 × 7
constexpr float kContextWeight = 4;
constexpr float kFarCost = 0.02F;  // of three hole radii, as a difference of colours
constexpr float kForbidden = 1e4F;

// Best places of a block in the picture, as votes for offsets.
void vote(const cv::Mat3f& picture, const cv::Mat1b& unusable, cv::Rect block, int reach_px,
          cv::Mat1f& votes) {
  const cv::Rect around(block.x - reach_px, block.y - reach_px, 2 * reach_px + block.width,
                        2 * reach_px + block.height);
  const cv::Rect searched = around & cv::Rect({}, picture.size());
  cv::Mat1f misfit;
  cv::matchTemplate(picture(searched), picture(block), misfit, cv::TM_SQDIFF);
  misfit.setTo(1e9, unusable(cv::Rect(searched.tl(), misfit.size())));
  const cv::Point own = block.tl() - searched.tl();
  const cv::Rect near(own.x - kLeastOffset_px, own.y - kLeastOffset_px, 2 * kLeastOffset_px + 1,
                      2 * kLeastOffset_px + 1);
  misfit(near & cv::Rect({}, misfit.size())).setTo(1e9);
  constexpr int kBest = 3;
  for (int i = 0; i < kBest; ++i) {
    double least = 0;
    cv::Point at;
    cv::minMaxLoc(misfit, &least, nullptr, &at, nullptr);
    if (least >= 1e8) return;
    const cv::Point offset = at - own;
    votes(offset.y + picture.rows, offset.x + picture.cols) += 1;
    const cv::Rect found(at.x - kLeastOffset_px, at.y - kLeastOffset_px, 2 * kLeastOffset_px + 1,
                         2 * kLeastOffset_px + 1);
    misfit(found & cv::Rect(0, 0, misfit.cols, misfit.rows)).setTo(1e9);
  }
}

// Where the upper left corner of a block touches the hole.
cv::Mat1b touching_blocks(const cv::Mat1b& hole) {
  cv::Mat1b touching;
  cv::dilate(hole, touching, cv::Mat::ones(kBlock_px, kBlock_px, CV_8U),
             {kBlock_px - 1, kBlock_px - 1});
  return touching;
}

cv::Mat1f all_votes(const cv::Mat3f& picture, const cv::Mat1b& hole, double hole_px) {
  cv::Mat1f votes(2 * picture.rows + 1, 2 * picture.cols + 1, 0.0F);
  const auto reach_px = static_cast<int>(std::ceil(kReach * hole_px));
  const cv::Mat1b unusable = touching_blocks(hole);
  cv::Mat1b known;
  cv::compare(hole, 0, known, cv::CMP_EQ);
  cv::Mat1f away;
  cv::distanceTransform(known, away, cv::DIST_L2, cv::DIST_MASK_5);
  for (int y = 0; y + kBlock_px <= picture.rows; y += kBlockStep_px) {
    for (int x = 0; x + kBlock_px <= picture.cols; x += kBlockStep_px) {
      const float off = away(y + kBlock_px / 2, x + kBlock_px / 2);
      if (unusable(y, x) != 0 || off > kRing * hole_px) continue;
      vote(picture, unusable, {x, y, kBlock_px, kBlock_px}, reach_px, votes);
    }
  }
  // An offset there is an offset back.
  cv::Mat1f back;
  cv::flip(votes, back, -1);
  votes += back;
  cv::GaussianBlur(votes, votes, {}, 0.8);
  return votes;
}

struct Labelling {
  const cv::Mat3f& picture;
  const cv::Mat1b& hole;
  const std::vector<cv::Point>& offsets;
  double hole_px;
  std::vector<cv::Point> pixels = {};        // of the hole
  cv::Mat1i index = {};                      // of a pixel in `pixels`, −1 elsewhere
  std::vector<std::vector<float>> own = {};  // cost of an offset by pixel
};

float apart(const cv::Mat3f& picture, cv::Point a, cv::Point b) {
  return static_cast<float>(cv::norm(picture(a) - picture(b)));
}

// What a label costs a pixel alone: where it takes from, and how it fits what is known around.
float own_cost(const Labelling& of, cv::Point at, cv::Point offset) {
  if (!is_known(of.hole, at + offset)) return kForbidden;
  const double far = cv::norm(offset) / (3 * of.hole_px);
  float sum = 0;
  for (int dy = -kContext_px; dy <= kContext_px; ++dy) {
    for (int dx = -kContext_px; dx <= kContext_px; ++dx) {
      const cv::Point beside = at + cv::Point(dx, dy);
      if (!is_known(of.hole, beside) || !is_known(of.hole, beside + offset)) continue;
      sum += apart(of.picture, beside, beside + offset);
    }
  }
  constexpr int kArea = (2 * kContext_px + 1) * (2 * kContext_px + 1);
  return kFarCost * static_cast<float>(far * far) +
         kContextWeight * sum / static_cast<float>(kArea);
}

Labelling prepared(const cv::Mat3f& picture, const cv::Mat1b& hole,
                   const std::vector<cv::Point>& offsets, double hole_px) {
  Labelling of{picture, hole, offsets, hole_px};
  of.index = cv::Mat1i(hole.size(), -1);
  for (int y = 0; y < hole.rows; ++y) {
    for (int x = 0; x < hole.cols; ++x) {
      if (hole(y, x) == 0) continue;
      of.index(y, x) = static_cast<int>(of.pixels.size());
      of.pixels.emplace_back(x, y);
    }
  }
  for (const cv::Point at : of.pixels) {
    std::vector<float>& costs = of.own.emplace_back();
    for (const cv::Point offset : offsets) costs.push_back(own_cost(of, at, offset));
  }
  return of;
}

// What two labels cost at neighbours: how differently they show both places.
float pair_cost(const Labelling& of, cv::Point a, cv::Point b, int label_a, int label_b) {
  if (label_a == label_b) return 0;
  float sum = 0;
  for (const cv::Point at : {a, b}) {
    const cv::Point from_a = at + of.offsets[static_cast<std::size_t>(label_a)];
    const cv::Point from_b = at + of.offsets[static_cast<std::size_t>(label_b)];
    const bool both = is_known(of.hole, from_a) && is_known(of.hole, from_b);
    sum += both ? apart(of.picture, from_a, from_b) : 1.0F;
  }
  return sum;
}

// One expansion move: every pixel keeps its label or takes `label`, at the least cost of all.
void expand(const Labelling& of, int label, std::vector<int>& labels) {
  const int count = static_cast<int>(of.pixels.size());
  cv::detail::GCGraph<float> graph(static_cast<unsigned>(count), static_cast<unsigned>(4 * count));
  std::vector<float> keeps(labels.size());
  std::vector<float> takes(labels.size());
  for (std::size_t i = 0; i < labels.size(); ++i) {
    graph.addVtx();
    keeps[i] = of.own[i][static_cast<std::size_t>(labels[i])];
    takes[i] = of.own[i][static_cast<std::size_t>(label)];
  }
  for (std::size_t i = 0; i < labels.size(); ++i) {
    for (const cv::Point step : {cv::Point(1, 0), cv::Point(0, 1)}) {
      const cv::Point a = of.pixels[i];
      const cv::Point b = a + step;
      if (b.x >= of.index.cols || b.y >= of.index.rows || of.index(b) < 0) continue;
      const auto j = static_cast<std::size_t>(of.index(b));
      const float both_keep = pair_cost(of, a, b, labels[i], labels[j]);
      const float b_takes = pair_cost(of, a, b, labels[i], label);
      const float a_takes = pair_cost(of, a, b, label, labels[j]);
      // Kolmogorov & Zabih 2004, IEEE Trans. PAMI 26:147–159, section 4.
      takes[i] += a_takes - both_keep;
      takes[j] -= a_takes;
      const float weight = std::max(b_takes + a_takes - both_keep, 0.0F);
      graph.addEdges(static_cast<int>(i), static_cast<int>(j), weight, 0);
    }
  }
  for (std::size_t i = 0; i < labels.size(); ++i) {
    const float least = std::min(keeps[i], takes[i]);
    graph.addTermWeights(static_cast<int>(i), takes[i] - least, keeps[i] - least);
  }
  graph.maxFlow();
  for (std::size_t i = 0; i < labels.size(); ++i) {
    if (!graph.inSourceSegment(static_cast<int>(i))) labels[i] = label;
  }
}

}  // namespace

std::vector<cv::Point> common_offsets(const cv::Mat3f& picture, const cv::Mat1b& hole,
                                      double hole_px) {
  const cv::Mat1f votes = all_votes(picture, hole, hole_px);
  cv::Mat1f highest;
  cv::dilate(votes, highest, cv::Mat::ones(5, 5, CV_8U));
  std::vector<std::pair<float, cv::Point>> peaks;
  for (int y = 0; y < votes.rows; ++y) {
    for (int x = 0; x < votes.cols; ++x) {
      if (votes(y, x) <= 0 || votes(y, x) < highest(y, x)) continue;
      peaks.emplace_back(votes(y, x), cv::Point(x - picture.cols, y - picture.rows));
    }
  }
  std::stable_sort(peaks.begin(), peaks.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  std::vector<cv::Point> offsets;
  for (std::size_t i = 0; i < std::min(peaks.size(), kMostOffsets); ++i) {
    offsets.push_back(peaks[i].second);
  }
  return offsets;
}

cv::Mat1i offset_labels(const cv::Mat3f& picture, const cv::Mat1b& hole,
                        const std::vector<cv::Point>& offsets, double hole_px) {
  cv::Mat1i result(hole.size(), -1);
  if (offsets.empty()) return result;
  const Labelling of = prepared(picture, hole, offsets, hole_px);
  std::vector<int> labels;
  for (const std::vector<float>& costs : of.own) {
    labels.push_back(
        static_cast<int>(std::min_element(costs.begin(), costs.end()) - costs.begin()));
  }
  for (int sweep = 0; sweep < kSweeps; ++sweep) {
    for (std::size_t i = 0; i < offsets.size(); ++i) expand(of, static_cast<int>(i), labels);
  }
  for (std::size_t i = 0; i < labels.size(); ++i) {
    const bool reaches = of.own[i][static_cast<std::size_t>(labels[i])] < kForbidden;
    result(of.pixels[i]) = reaches ? labels[i] : -1;
  }
  return result;
}

}  // namespace seamwright
