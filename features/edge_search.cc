#include "features/edge_search.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <optional>

#include <opencv2/imgproc.hpp>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr int kHalf_px = 10;  // of the correlated patch
constexpr int kSide_px = 2 * kHalf_px + 1;
constexpr float kFlat = 1e-3F;            // sum of squares below which a patch is flat
constexpr int kCell_px = 20;              // one seed a cell
constexpr float kLeastGradient2 = 0.02F;  // mean squared slope of the normalised strip, 1/px²
constexpr double kLeastNormalX = 0.87;    // cos 30°
constexpr double kLeastNcc = 0.88;
constexpr double kBesideEdge_px = 3;  // farther than this across the edge is another place
constexpr double kMaxRatio = 0.5;     // of 1 − ncc, best to the best elsewhere
constexpr double kRidge = 0.01;       // ncc this close to the best counts as the same
constexpr double kNeighbourhood_rad = rad_from_deg(12);
constexpr std::size_t kFewNeighbours = 5;

struct Seed {
  int x = 0;  // strip px, padding included
  int y = 0;
  Vec2 normal = Vec2::UnitX();
  float strength = 0;
};

cv::Mat mat_of(const Image& image, int type) {
  // OpenCV has no read-only header; nothing is written through it.
  return {image.height(), image.width(), type, const_cast<std::byte*>(image.bytes().data()),
          image.row_bytes()};
}

struct Tensor {
  cv::Mat xx, xy, yy;
};
Tensor structure_tensor(const cv::Mat& values) {
  cv::Mat dx;
  cv::Mat dy;
  cv::Scharr(values, dx, CV_32F, 1, 0, 1.0 / 32);
  cv::Scharr(values, dy, CV_32F, 0, 1, 1.0 / 32);
  const auto smooth = [](const cv::Mat& from) {
    cv::Mat to;
    cv::GaussianBlur(from, to, cv::Size(15, 15), 3, 3, cv::BORDER_REPLICATE);
    return to;
  };
  return {smooth(dx.mul(dx)), smooth(dx.mul(dy)), smooth(dy.mul(dy))};
}

class EdgeSearch {
 public:
  EdgeSearch(const Strip& a, const Strip& b, const RibbonGrid& grid, const DisparityRange& range,
             std::span<const PairMatch> known, const EdgeSearchOptions& options)
      : a_(a), b_(b), grid_(grid), range_(range), known_(known), options_(options) {
    cv::erode(mat_of(a.valid, CV_8U), inner_a_, square_element(), cv::Point(-1, -1), 1,
              cv::BORDER_CONSTANT, 0);
    cv::erode(mat_of(b.valid, CV_8U), inner_b_, square_element(), cv::Point(-1, -1), 1,
              cv::BORDER_CONSTANT, 0);
  }

  [[nodiscard]] std::vector<EdgePair> run() const {
    const std::vector<Seed> seeds = find_seeds();
    std::vector<std::optional<EdgePair>> results(seeds.size());
    parallel_for(0, static_cast<int>(seeds.size()), [&](int i) {
      results[static_cast<std::size_t>(i)] = match(seeds[static_cast<std::size_t>(i)]);
    });
    std::vector<EdgePair> found;
    for (const auto& result : results) {
      if (result) found.push_back(*result);
    }
    return found;
  }

 private:
  static cv::Mat square_element() {
    return cv::getStructuringElement(cv::MORPH_RECT, cv::Size(2 * kHalf_px + 1, 2 * kHalf_px + 1));
  }

  [[nodiscard]] Vec2 on_grid(int x, int y) const { return {x + 0.5 - options_.pad_px, y + 0.5}; }
  [[nodiscard]] double sideways_px(const Vec2& from, const Vec2& to) const {
    const double dx = to.x() - from.x();
    return grid_.closed ? std::remainder(dx, static_cast<double>(grid_.width_px)) : dx;
  }

  [[nodiscard]] bool near_known(const Vec2& at) const {
    return std::any_of(known_.begin(), known_.end(), [&](const PairMatch& match) {
      return std::hypot(sideways_px(at, match.a.at), match.a.at.y() - at.y()) <
             options_.clear_of_ties_px;
    });
  }

  // The strongest upright edge of every cell, strongest first.
  [[nodiscard]] std::vector<Seed> find_seeds() const {
    const Tensor tensor = structure_tensor(mat_of(a_.normalised, CV_32F));
    std::vector<Seed> seeds;
    for (int top = 0; top < a_.grid.height_px; top += kCell_px) {
      for (int left = options_.pad_px; left < a_.grid.width_px - options_.pad_px;
           left += kCell_px) {
        if (const auto seed = seed_in(tensor, left, top)) seeds.push_back(*seed);
      }
    }
    std::stable_sort(seeds.begin(), seeds.end(),
                     [](const Seed& a, const Seed& b) { return a.strength > b.strength; });
    if (seeds.size() > static_cast<std::size_t>(options_.max_edges)) {
      seeds.resize(static_cast<std::size_t>(options_.max_edges));
    }
    return seeds;
  }

  [[nodiscard]] std::optional<Seed> seed_in(const Tensor& tensor, int left, int top) const {
    const int right = std::min(left + kCell_px, a_.grid.width_px - options_.pad_px);
    const int bottom = std::min(top + kCell_px, a_.grid.height_px);
    Seed best;
    best.strength = kLeastGradient2;
    bool any = false;
    for (int y = top; y < bottom; ++y) {
      for (int x = left; x < right; ++x) {
        if (inner_a_.at<std::uint8_t>(y, x) == 0) continue;
        const float xx = tensor.xx.at<float>(y, x);
        if (xx <= best.strength) continue;
        // Direction of the largest eigenvalue.
        const double angle =
            0.5 * std::atan2(2.0 * tensor.xy.at<float>(y, x), xx - tensor.yy.at<float>(y, x));
        if (std::cos(angle) < kLeastNormalX) continue;
        best = {x, y, Vec2(std::cos(angle), std::sin(angle)), xx};
        any = true;
      }
    }
    if (!any || near_known(on_grid(best.x, best.y))) return std::nullopt;
    return best;
  }

  struct Disparities {
    double expected_px = 0;
    double least_px = 0;
    double most_px = 0;
  };

  // What the known matches around say; the whole range where there are few.
  [[nodiscard]] Disparities disparities_around(const Vec2& at) const {
    std::vector<double> around;
    const double reach = kNeighbourhood_rad * grid_.px_per_rad;
    for (const PairMatch& match : known_) {
      if (std::abs(sideways_px(at, match.a.at)) < reach) {
        around.push_back(match.a.at.y() - match.b.at.y());
      }
    }
    const double slack = options_.parallax_slack_rad * grid_.px_per_rad;
    if (around.size() < kFewNeighbours) {
      const double eta = grid_.eta_begin_rad + at.y() / grid_.px_per_rad;
      return {0, -slack, range_.nearest_seen_from_a(eta) * grid_.px_per_rad + slack};
    }
    std::sort(around.begin(), around.end());
    return {around[around.size() / 2], around.front() - slack, around.back() + slack};
  }

  // A patch of strip a with mean 0 and norm 1; empty where flat.
  [[nodiscard]] std::vector<float> pattern(int x, int y) const {
    std::vector<float> values;
    values.reserve(kSide_px * kSide_px);
    float sum = 0;
    for (int j = -kHalf_px; j <= kHalf_px; ++j) {
      const auto row = a_.normalised.row<float>(y + j);
      for (int i = -kHalf_px; i <= kHalf_px; ++i) {
        values.push_back(row[static_cast<std::size_t>(x + i)]);
        sum += values.back();
      }
    }
    float squares = 0;
    for (float& v : values) {
      v -= sum / static_cast<float>(kSide_px * kSide_px);
      squares += v * v;
    }
    if (squares < kFlat) return {};
    for (float& v : values) v /= std::sqrt(squares);
    return values;
  }

  // Correlation of a pattern with strip b around a pixel.
  [[nodiscard]] float correlation(const std::vector<float>& pattern, int x, int y) const {
    // Column sums, so that the inner loop has no order of its own to keep.
    std::array<float, kSide_px> products{};
    std::array<float, kSide_px> values{};
    std::array<float, kSide_px> squares{};
    for (int j = 0; j < kSide_px; ++j) {
      const float* row = b_.normalised.row<float>(y + j - kHalf_px).data() + (x - kHalf_px);
      const float* wanted = pattern.data() + static_cast<std::ptrdiff_t>(j) * kSide_px;
      for (std::size_t i = 0; i < kSide_px; ++i) {
        products[i] += wanted[i] * row[i];
        values[i] += row[i];
        squares[i] += row[i] * row[i];
      }
    }
    const float product = std::accumulate(products.begin(), products.end(), 0.0F);
    const float sum = std::accumulate(values.begin(), values.end(), 0.0F);
    const float square = std::accumulate(squares.begin(), squares.end(), 0.0F);
    const float spread = square - sum * sum / static_cast<float>(kSide_px * kSide_px);
    return spread < kFlat ? -1 : product / std::sqrt(spread);
  }

  struct Trial {
    Vec2 shift = Vec2::Zero();  // b − a, px
    double ncc = -1;
  };

  [[nodiscard]] std::vector<Trial> trials_of(const Seed& seed,
                                             const Disparities& disparities) const {
    std::vector<Trial> trials;
    const std::vector<float> wanted = pattern(seed.x, seed.y);
    if (wanted.empty()) return trials;
    const double eta = grid_.eta_begin_rad + (seed.y + 0.5) / grid_.px_per_rad;
    const int half_width = static_cast<int>(
        std::ceil(options_.sideways_rad * grid_.px_per_rad / std::max(std::sin(eta), 0.1)));
    const int first_y =
        std::max(seed.y - static_cast<int>(std::ceil(disparities.most_px)), kHalf_px);
    const int last_y = std::min(seed.y - static_cast<int>(std::floor(disparities.least_px)),
                                b_.grid.height_px - 1 - kHalf_px);
    const int first_x = std::max(seed.x - half_width, kHalf_px);
    const int last_x = std::min(seed.x + half_width, b_.grid.width_px - 1 - kHalf_px);
    for (int y = first_y; y <= last_y; ++y) {
      for (int x = first_x; x <= last_x; ++x) {
        if (inner_b_.at<std::uint8_t>(y, x) == 0) continue;
        trials.push_back({Vec2(x - seed.x, y - seed.y), correlation(wanted, x, y)});
      }
    }
    return trials;
  }

  [[nodiscard]] std::optional<EdgePair> match(const Seed& seed) const {
    const Vec2 at_a = on_grid(seed.x, seed.y);
    const Disparities disparities = disparities_around(at_a);
    const std::vector<Trial> trials = trials_of(seed, disparities);
    Trial best;
    for (const Trial& trial : trials) {
      if (trial.ncc > best.ncc) best = trial;
    }
    if (best.ncc < kLeastNcc) return std::nullopt;
    double rival = -1;
    for (const Trial& trial : trials) {
      if (std::abs(seed.normal.dot(trial.shift - best.shift)) > kBesideEdge_px) {
        rival = std::max(rival, trial.ncc);
      }
    }
    if (1 - best.ncc > kMaxRatio * (1 - rival)) return std::nullopt;
    const double expected = -disparities.expected_px;
    Trial chosen = best;
    for (const Trial& trial : trials) {
      if (trial.ncc >= best.ncc - kRidge &&
          std::abs(trial.shift.y() - expected) < std::abs(chosen.shift.y() - expected)) {
        chosen = trial;
      }
    }
    return EdgePair{at_a, at_a + chosen.shift};
  }

  const Strip& a_;
  const Strip& b_;
  const RibbonGrid& grid_;
  const DisparityRange& range_;
  std::span<const PairMatch> known_;
  const EdgeSearchOptions& options_;
  cv::Mat inner_a_, inner_b_;  // 255 where a whole patch is valid
};

}  // namespace

std::vector<EdgePair> search_edges(const Strip& a, const Strip& b, const RibbonGrid& grid,
                                   const DisparityRange& range, std::span<const PairMatch> known,
                                   const EdgeSearchOptions& options) {
  return EdgeSearch(a, b, grid, range, known, options).run();
}

}  // namespace seamwright
