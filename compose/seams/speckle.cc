#include "compose/seams/speckle.h"

#include <cmath>
#include <cstddef>
#include <vector>

namespace seamwright {

namespace {

struct Pixel {
  int x = 0;
  int y = 0;
};

class Islands {
 public:
  Islands(LensDepth& depth, bool closed, double gap_inverse)
      : depth_(depth),
        width_(depth.visibility.width()),
        height_(depth.visibility.height()),
        closed_(closed),
        gap_(static_cast<float>(gap_inverse)),
        visited_(static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_), 0) {}

  void doubt_small(std::size_t least) {
    for (int y = 0; y < height_; ++y) {
      for (int x = 0; x < width_; ++x) {
        if (!open(x, y)) continue;
        const std::vector<Pixel> island = grown_from({x, y});
        if (island.size() >= least) continue;
        for (const Pixel& at : island) {
          depth_.visibility.row<std::uint8_t>(at.y)[static_cast<std::size_t>(at.x)] =
              static_cast<std::uint8_t>(Visibility::unsure);
          depth_.confidence.row<float>(at.y)[static_cast<std::size_t>(at.x)] = 0;
        }
      }
    }
  }

 private:
  [[nodiscard]] std::size_t index(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
           static_cast<std::size_t>(x);
  }
  [[nodiscard]] bool open(int x, int y) const {
    const auto visibility = depth_.visibility.row<std::uint8_t>(y)[static_cast<std::size_t>(x)];
    return visited_[index(x, y)] == 0 && static_cast<Visibility>(visibility) == Visibility::both;
  }
  [[nodiscard]] float inverse(int x, int y) const {
    return depth_.inverse_m.row<float>(y)[static_cast<std::size_t>(x)];
  }

  std::vector<Pixel> grown_from(const Pixel& seed) {
    std::vector<Pixel> island = {seed};
    visited_[index(seed.x, seed.y)] = 1;
    for (std::size_t next = 0; next < island.size(); ++next) {
      const Pixel at = island[next];
      for (const Pixel& step : {Pixel{1, 0}, Pixel{-1, 0}, Pixel{0, 1}, Pixel{0, -1}}) {
        int x = at.x + step.x;
        const int y = at.y + step.y;
        if (closed_) x = (x + width_) % width_;
        if (x < 0 || x >= width_ || y < 0 || y >= height_ || !open(x, y)) continue;
        if (std::abs(inverse(x, y) - inverse(at.x, at.y)) > gap_) continue;
        visited_[index(x, y)] = 1;
        island.push_back({x, y});
      }
    }
    return island;
  }

  LensDepth& depth_;
  int width_;
  int height_;
  bool closed_;
  float gap_;
  std::vector<char> visited_;
};

}  // namespace

void doubt_speckle(LensDepth& depth, bool closed, double gap_inverse_m, int least_px) {
  Islands(depth, closed, gap_inverse_m).doubt_small(static_cast<std::size_t>(least_px));
}

}  // namespace seamwright
