#include "seams/depth_check.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

#include "base/parallel.h"
#include "seams/baseline_view.h"

namespace seamwright {

namespace {

constexpr int kFillReach_px = 400;
constexpr float kAlike = 0.6F;  // difference of normalised brightness that halves a vote

Sight sight_at(const Image& sight, int x, int y) {
  return static_cast<Sight>(sight.row<std::uint8_t>(y)[static_cast<std::size_t>(x)]);
}

// Row of the other lens' strip where a pixel's point lies; empty outside the raster.
std::optional<int> partner_row(const RibbonGrid& grid, double from_m, double to_m, int y,
                               float inverse) {
  const double eta =
      eta_seen_from(to_m, from_m, eta_of_row(grid, y + 0.5), static_cast<double>(inverse));
  const int row = static_cast<int>(std::floor(row_of_eta(grid, eta)));
  if (row < 0 || row >= grid.height_px) return std::nullopt;
  return row;
}

class Checker {
 public:
  Checker(const LensDepth& here, double here_m, const LensDepth& there, double there_m,
          const RibbonGrid& grid, const CheckOptions& options)
      : here_(here),
        there_(there),
        here_m_(here_m),
        there_m_(there_m),
        grid_(grid),
        most_inverse_(options.most_px / options.px_per_inverse_m) {}

  [[nodiscard]] Image sights() const {
    Image result = here_.sight;
    std::vector<char> landed(static_cast<std::size_t>(grid_.width_px) *
                             static_cast<std::size_t>(grid_.height_px));
    land(landed);
    parallel_for(0, grid_.height_px, [&](int y) {
      const auto to = result.row<std::uint8_t>(y);
      for (int x = 0; x < grid_.width_px; ++x) {
        const auto i = static_cast<std::size_t>(x);
        if (static_cast<Sight>(to[i]) == Sight::none) continue;
        const std::size_t at = static_cast<std::size_t>(y) * to.size() + i;
        Sight sight = compared(x, y);
        if (sight == Sight::unsure && landed[at] == 0) sight = Sight::hidden;
        to[i] = static_cast<std::uint8_t>(sight);
      }
    });
    return result;
  }

 private:
  // `both`, `outside` or, where the lenses disagree, `unsure`.
  [[nodiscard]] Sight compared(int x, int y) const {
    const auto i = static_cast<std::size_t>(x);
    const float inverse = here_.inverse_m.row<float>(y)[i];
    const auto row = partner_row(grid_, here_m_, there_m_, y, inverse);
    if (!row || sight_at(there_.sight, x, *row) == Sight::none) return Sight::outside;
    const float other = there_.inverse_m.row<float>(*row)[i];
    return std::abs(inverse - other) <= most_inverse_ ? Sight::both : Sight::unsure;
  }

  // Marks the pixels here that some pixel there claims to see.
  void land(std::vector<char>& landed) const {
    const auto width = static_cast<std::size_t>(grid_.width_px);
    constexpr int kColumns = 64;
    parallel_for(0, (grid_.width_px + kColumns - 1) / kColumns, [&](int block) {
      const int end = std::min((block + 1) * kColumns, grid_.width_px);
      for (int y = 0; y < grid_.height_px; ++y) {
        const auto inverse = there_.inverse_m.row<float>(y);
        for (int x = block * kColumns; x < end; ++x) {
          if (sight_at(there_.sight, x, y) == Sight::none) continue;
          const auto i = static_cast<std::size_t>(x);
          const auto row = partner_row(grid_, there_m_, here_m_, y, inverse[i]);
          if (row) landed[static_cast<std::size_t>(*row) * width + i] = 1;
        }
      }
    });
  }

  const LensDepth& here_;
  const LensDepth& there_;
  double here_m_;
  double there_m_;
  const RibbonGrid& grid_;
  double most_inverse_;
};

void forget_unconfirmed(LensDepth& depth, Image sight) {
  depth.sight = std::move(sight);
  for (int y = 0; y < depth.sight.height(); ++y) {
    const auto confidence = depth.confidence.row<float>(y);
    const auto state = depth.sight.row<std::uint8_t>(y);
    for (std::size_t x = 0; x < confidence.size(); ++x) {
      if (static_cast<Sight>(state[x]) != Sight::both) confidence[x] = 0;
    }
  }
}

// What one direction says about a gap.
struct Vote {
  float inverse = 0;
  float weight = 0;
};

class GapFiller {
 public:
  GapFiller(const LensDepth& depth, const Strip& strip)
      : depth_(depth), strip_(strip), width_(strip.grid.width_px), closed_(strip.grid.closed) {}

  [[nodiscard]] float value(int x, int y, Sight sight) const {
    std::vector<Vote> votes;
    for (int dy = -1; dy <= 1; ++dy) {
      for (int dx = -1; dx <= 1; ++dx) {
        if (dx == 0 && dy == 0) continue;
        if (const auto vote = look(x, y, dx, dy)) votes.push_back(*vote);
      }
    }
    if (votes.empty()) return depth_.inverse_m.row<float>(y)[static_cast<std::size_t>(x)];
    std::sort(votes.begin(), votes.end(),
              [](const Vote& a, const Vote& b) { return a.inverse < b.inverse; });
    // The second farthest rather than the farthest: one of eight may be an error.
    if (sight == Sight::hidden) return votes[votes.size() > 2 ? 1 : 0].inverse;
    return weighted_median(votes);
  }

 private:
  [[nodiscard]] std::optional<Vote> look(int x, int y, int dx, int dy) const {
    const float own = strip_.normalised.row<float>(y)[static_cast<std::size_t>(x)];
    for (int step = 1; step <= kFillReach_px; ++step) {
      int at_x = x + step * dx;
      const int at_y = y + step * dy;
      if (at_y < 0 || at_y >= strip_.grid.height_px) return std::nullopt;
      if (closed_) {
        at_x = ((at_x % width_) + width_) % width_;
      } else if (at_x < 0 || at_x >= width_) {
        return std::nullopt;
      }
      if (sight_at(depth_.sight, at_x, at_y) != Sight::both) continue;
      const auto i = static_cast<std::size_t>(at_x);
      const float off = std::abs(strip_.normalised.row<float>(at_y)[i] - own);
      const float alike = kAlike / (kAlike + off);
      return Vote{depth_.inverse_m.row<float>(at_y)[i], alike / static_cast<float>(step)};
    }
    return std::nullopt;
  }

  static float weighted_median(const std::vector<Vote>& votes) {
    float total = 0;
    for (const Vote& vote : votes) total += vote.weight;
    float sum = 0;
    for (const Vote& vote : votes) {
      sum += vote.weight;
      if (2 * sum >= total) return vote.inverse;
    }
    return votes.back().inverse;
  }

  const LensDepth& depth_;
  const Strip& strip_;
  int width_;
  bool closed_;
};

}  // namespace

void check_each_other(const DepthView& a, const DepthView& b, const RibbonGrid& grid,
                      const CheckOptions& options) {
  Image sight_a = Checker(a.depth, a.offset_m, b.depth, b.offset_m, grid, options).sights();
  Image sight_b = Checker(b.depth, b.offset_m, a.depth, a.offset_m, grid, options).sights();
  forget_unconfirmed(a.depth, std::move(sight_a));
  forget_unconfirmed(b.depth, std::move(sight_b));
}

void fill_gaps(LensDepth& depth, const Strip& strip) {
  Image filled = depth.inverse_m;
  const GapFiller filler(depth, strip);
  parallel_for(0, filled.height(), [&](int y) {
    const auto to = filled.row<float>(y);
    for (int x = 0; x < filled.width(); ++x) {
      const Sight sight = sight_at(depth.sight, x, y);
      if (sight == Sight::both) continue;
      to[static_cast<std::size_t>(x)] = filler.value(x, y, sight);
    }
  });
  depth.inverse_m = std::move(filled);
}

}  // namespace seamwright
