#include "features/edge_chains.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/parallel.h"

namespace seamwright {

namespace {

class EdgeRaster {
 public:
  EdgeRaster(const LensView& view, const EdgeChainOptions& options)
      : view_(view),
        options_(options),
        plane_(view.mounted.lens.width_px > options.largest_raster_px ? view.levels.back()
                                                                      : view.plane()),
        width_(view.mounted.lens.width_px / plane_.step()),
        height_(view.mounted.lens.height_px / plane_.step()),
        gradient_(count()),
        state_(count(), kEmpty) {}

  std::vector<EdgeChain> chains() {
    parallel_for(0, height_, [&](int y) { read_row(y); });
    parallel_for(1, height_ - 1, [&](int y) { thin_row(y); });
    std::vector<EdgeChain> found;
    for (int y = 1; y + 1 < height_; ++y) {
      for (int x = 1; x + 1 < width_; ++x) {
        if (state_[at(x, y)] != kRidge) continue;
        EdgeChain chain = follow(x, y);
        if (static_cast<int>(chain.size()) >= options_.shortest) found.push_back(std::move(chain));
      }
    }
    return found;
  }

 private:
  enum State : std::uint8_t { kEmpty, kRidge, kTaken };
  struct Place {
    int x = 0;
    int y = 0;
  };

  [[nodiscard]] std::size_t count() const {
    return static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_);
  }
  [[nodiscard]] std::size_t at(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
           static_cast<std::size_t>(x);
  }
  [[nodiscard]] Vec2 frame_px(double x, double y) const {
    return {x * plane_.step() + 0.5, y * plane_.step() + 0.5};
  }

  void read_row(int y) {
    for (int x = 0; x < width_; ++x) {
      Eigen::Vector2f& gradient = gradient_[at(x, y)];
      gradient.setZero();
      const Vec2 px = frame_px(x, y);
      if (!plane_.contains(px) || !view_.field.contains(px, options_.margin_px)) continue;
      const SplinePlane::Sample sample = plane_.sample(px.x(), px.y());
      gradient = {sample.du, sample.dv};
    }
  }

  // Magnitude between pixels.
  [[nodiscard]] float magnitude(float x, float y) const {
    const int x0 = static_cast<int>(x);
    const int y0 = static_cast<int>(y);
    const float fx = x - static_cast<float>(x0);
    const float fy = y - static_cast<float>(y0);
    const auto norm = [&](int i, int j) {
      return gradient_[at(std::min(x0 + i, width_ - 1), std::min(y0 + j, height_ - 1))].norm();
    };
    return (1 - fy) * ((1 - fx) * norm(0, 0) + fx * norm(1, 0)) +
           fy * ((1 - fx) * norm(0, 1) + fx * norm(1, 1));
  }

  // Magnitudes one pixel to the dark side and to the bright side.
  [[nodiscard]] std::pair<float, float> beside(int x, int y) const {
    const Eigen::Vector2f unit = gradient_[at(x, y)].normalized();
    const auto fx = static_cast<float>(x);
    const auto fy = static_cast<float>(y);
    return {magnitude(fx - unit.x(), fy - unit.y()), magnitude(fx + unit.x(), fy + unit.y())};
  }

  void thin_row(int y) {
    const auto least = static_cast<float>(options_.least_gradient);
    for (int x = 1; x + 1 < width_; ++x) {
      const float own = gradient_[at(x, y)].norm();
      // What is beyond a float's range has a norm, and no direction.
      if (!(own >= least) || !std::isfinite(own)) continue;
      const auto [dark, bright] = beside(x, y);
      if (own >= dark && own > bright) state_[at(x, y)] = kRidge;
    }
  }

  [[nodiscard]] Edgel edgel(const Place& place) const {
    const Eigen::Vector2f gradient = gradient_[at(place.x, place.y)];
    const float own = gradient.norm();
    const auto [dark, bright] = beside(place.x, place.y);
    const float bend = dark - 2 * own + bright;
    const float shift = bend < 0 ? std::clamp(0.5F * (dark - bright) / bend, -0.7F, 0.7F) : 0.0F;
    const Eigen::Vector2f moved = gradient / own * shift;
    return {frame_px(place.x + static_cast<double>(moved.x()),
                     place.y + static_cast<double>(moved.y())),
            gradient.cast<double>()};
  }

  // The neighbour in the direction of the edge whose gradient points most alike.
  [[nodiscard]] std::optional<Place> next(const Place& from, float hand) const {
    const Eigen::Vector2f own = gradient_[at(from.x, from.y)].normalized();
    const Eigen::Vector2f along(-hand * own.y(), hand * own.x());
    std::optional<Place> best;
    float best_score = 0;
    for (int dy = -1; dy <= 1; ++dy) {
      for (int dx = -1; dx <= 1; ++dx) {
        const Place to{from.x + dx, from.y + dy};
        if (to.x < 1 || to.y < 1 || to.x + 1 >= width_ || to.y + 1 >= height_) continue;
        if (state_[at(to.x, to.y)] != kRidge) continue;
        constexpr float kWithin = 0.38F;  // 67°: the neighbours to the side are not the way on
        constexpr float kAlike = 0.88F;   // 28°
        const float ahead =
            Eigen::Vector2f(static_cast<float>(dx), static_cast<float>(dy)).normalized().dot(along);
        const float alike = gradient_[at(to.x, to.y)].normalized().dot(own);
        if (ahead < kWithin || alike < kAlike) continue;
        if (ahead + alike <= best_score) continue;
        best_score = ahead + alike;
        best = to;
      }
    }
    return best;
  }

  [[nodiscard]] std::vector<Place> walk(Place from, float hand) {
    std::vector<Place> way;
    while (const auto to = next(from, hand)) {
      state_[at(to->x, to->y)] = kTaken;
      way.push_back(*to);
      from = *to;
    }
    return way;
  }

  [[nodiscard]] EdgeChain follow(int x, int y) {
    const Place start{x, y};
    state_[at(x, y)] = kTaken;
    const std::vector<Place> ahead = walk(start, 1);
    const std::vector<Place> back = walk(start, -1);
    EdgeChain chain;
    chain.reserve(ahead.size() + back.size() + 1);
    for (auto place = back.rbegin(); place != back.rend(); ++place) chain.push_back(edgel(*place));
    chain.push_back(edgel(start));
    for (const Place& place : ahead) chain.push_back(edgel(place));
    return chain;
  }

  const LensView& view_;
  const EdgeChainOptions& options_;
  const SplinePlane& plane_;
  int width_;
  int height_;
  std::vector<Eigen::Vector2f> gradient_;
  std::vector<std::uint8_t> state_;
};

}  // namespace

std::vector<EdgeChain> find_edge_chains(const LensView& view, const EdgeChainOptions& options) {
  return EdgeRaster(view, options).chains();
}

}  // namespace seamwright
