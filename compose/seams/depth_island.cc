#include "compose/seams/depth_island.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <utility>

#include "base/parallel.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/depth_check.h"

namespace seamwright {

namespace {

constexpr double kAsWell = 0.05;   // a loss of likeness within noise and interpolation
constexpr double kShift_px = 0.5;  // of disparity: surfaces go on to within this
constexpr int kShiftSteps = 2;

void mark(LensDepth& depth, const DepthIsland& island, Visibility as) {
  for (const IslandPixel& at : island) {
    depth.visibility.row<std::uint8_t>(at.y)[static_cast<std::size_t>(at.x)] =
        static_cast<std::uint8_t>(as);
    depth.confidence.row<float>(at.y)[static_cast<std::size_t>(at.x)] = 0;
  }
}

class IslandFinder {
 public:
  IslandFinder(const LensDepth& depth, bool closed, double gap_inverse)
      : depth_(depth),
        width_(depth.visibility.width()),
        height_(depth.visibility.height()),
        closed_(closed),
        gap_(static_cast<float>(gap_inverse)),
        visited_(static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_), 0) {}

  std::vector<DepthIsland> smaller_than(std::size_t count) {
    std::vector<DepthIsland> islands;
    for (int y = 0; y < height_; ++y) {
      for (int x = 0; x < width_; ++x) {
        if (!open(x, y)) continue;
        DepthIsland island = grown_from({x, y});
        if (island.size() < count) islands.push_back(std::move(island));
      }
    }
    return islands;
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

  DepthIsland grown_from(const IslandPixel& seed) {
    DepthIsland island = {seed};
    visited_[index(seed.x, seed.y)] = 1;
    for (std::size_t next = 0; next < island.size(); ++next) {
      const IslandPixel at = island[next];
      for (const IslandPixel& step :
           {IslandPixel{1, 0}, IslandPixel{-1, 0}, IslandPixel{0, 1}, IslandPixel{0, -1}}) {
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

  const LensDepth& depth_;
  int width_;
  int height_;
  bool closed_;
  float gap_;
  std::vector<char> visited_;
};

// No farther than infinity.
float moved(float inverse_m, float by_inverse_m) {
  return std::max(0.0F, inverse_m + by_inverse_m);
}

struct Range {
  double least = 0;
  double most = 0;
};

// What a strip shows within half a pixel around a continuous row of pixel centres, so that a
// fraction of a pixel does not count (Birchfield and Tomasi 1998, PAMI 20:401–406).
std::optional<Range> range_around(const Strip& strip, int x, double row) {
  const auto i = static_cast<std::size_t>(x);
  const int above = static_cast<int>(std::floor(row - 0.5));
  if (above < 0 || above + 2 >= strip.grid.height_px) return std::nullopt;
  std::array<double, 3> value;
  for (int k = 0; k < 3; ++k) {
    if (strip.valid.row<std::uint8_t>(above + k)[i] == 0) return std::nullopt;
    value[static_cast<std::size_t>(k)] =
        static_cast<double>(strip.normalised.row<float>(above + k)[i]);
  }
  const double part = row - 0.5 - above;
  const double first = std::lerp(value[0], value[1], part);
  const double last = std::lerp(value[1], value[2], part);
  return Range{std::min({first, value[1], last}), std::max({first, value[1], last})};
}

// How unlike both pictures are on an island if it lies at the depth of a raster: mean difference of
// normalised brightness, each clipped.
double unlikeness(const DepthIsland& island, const Image& inverse_m, double more_inverse_m,
                  const BaselineStrip& own, const BaselineStrip& other) {
  constexpr double kMost = 1;
  const RibbonGrid& grid = own.strip.grid;
  double sum = 0;
  for (const IslandPixel& at : island) {
    const auto x = static_cast<std::size_t>(at.x);
    const double eta = eta_of_row(grid, at.y + 0.5);
    const float inverse = moved(inverse_m.row<float>(at.y)[x], static_cast<float>(more_inverse_m));
    const RibbonPoint point(own.offset_m, Colatitude(eta), static_cast<double>(inverse));
    const double row =
        at.y + (point.eta_from(other.offset_m) - eta) * grid.px_per_rad;  // of pixel centres
    const auto range = range_around(other.strip, at.x, row);
    const double here = static_cast<double>(own.strip.normalised.row<float>(at.y)[x]);
    sum +=
        range ? std::min(kMost, std::max({0.0, here - range->most, range->least - here})) : kMost;
  }
  return sum / static_cast<double>(island.size());
}

bool holds_any(const DepthIsland& island, const std::vector<IslandPixel>& pixels) {
  return std::ranges::any_of(pixels, [&](const IslandPixel& held) {
    return std::ranges::any_of(
        island, [&](const IslandPixel& at) { return at.x == held.x && at.y == held.y; });
  });
}

// The depth as it would be filled in if islands were not there.
Image depth_without(const LensDepth& depth, const std::vector<DepthIsland>& islands, Visibility as,
                    const Strip& strip) {
  LensDepth without = depth;
  for (const DepthIsland& island : islands) mark(without, island, as);
  fill_gaps(without, strip);
  return std::move(without.inverse_m);
}

}  // namespace

std::vector<DepthIsland> depth_islands(const LensDepth& depth, bool closed, double gap_inverse_m,
                                       std::size_t fewer_than) {
  return IslandFinder(depth, closed, gap_inverse_m).smaller_than(fewer_than);
}

void doubt_speckle(LensDepth& depth, bool closed, double gap_inverse_m, int least_px) {
  for (const DepthIsland& island :
       depth_islands(depth, closed, gap_inverse_m, static_cast<std::size_t>(least_px))) {
    mark(depth, island, Visibility::unsure);
  }
}

int join_islands(LensDepth& depth, const BaselineStrip& own, const BaselineStrip& other,
                 const IslandOptions& options) {
  const std::vector<DepthIsland> islands =
      depth_islands(depth, own.strip.grid.closed, options.gap_inverse_m, options.fewer_than);
  const auto may_join = [&](const DepthIsland& island) {
    return island.size() >= options.at_least && !holds_any(island, options.held);
  };
  if (std::ranges::none_of(islands, may_join)) return 0;
  constexpr std::array kAround = {Visibility::unsure, Visibility::hidden};
  std::array<Image, kAround.size()> around;
  parallel_for(0, static_cast<int>(kAround.size()), [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    around[at] = depth_without(depth, islands, kAround[at], own.strip);
  });
  const double step = kShift_px / kShiftSteps / options.px_per_inverse_m;
  int joined = 0;
  for (const DepthIsland& island : islands) {
    if (!may_join(island)) continue;
    const double most = unlikeness(island, depth.inverse_m, 0, own, other) + kAsWell;
    double least = most;
    const Image* best = nullptr;
    double best_more = 0;
    for (const Image& inverse_m : around) {
      for (int k = -kShiftSteps; k <= kShiftSteps; ++k) {
        const double unlike = unlikeness(island, inverse_m, k * step, own, other);
        if (unlike > least || (unlike == least && best != nullptr)) continue;
        least = unlike;
        best = &inverse_m;
        best_more = k * step;
      }
    }
    if (best == nullptr) continue;
    ++joined;
    for (const IslandPixel& at : island) {
      const auto x = static_cast<std::size_t>(at.x);
      depth.inverse_m.row<float>(at.y)[x] =
          moved(best->row<float>(at.y)[x], static_cast<float>(best_more));
    }
  }
  return joined;
}

}  // namespace seamwright
