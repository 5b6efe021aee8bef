#include "seams/depth_check.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
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
std::optional<int> partner_row(const RibbonGrid& grid, double from_m, double to_m,
                               const Colatitude& seen_under, float inverse) {
  const double eta = SightedPoint(from_m, seen_under, static_cast<double>(inverse)).eta_from(to_m);
  const double row = row_of_eta(grid, eta);
  if (!(row >= 0) || row >= grid.height_px) return std::nullopt;
  return static_cast<int>(row);
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
        rows_(row_colatitudes(grid)),
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
    const auto row =
        partner_row(grid_, here_m_, there_m_, rows_[static_cast<std::size_t>(y)], inverse);
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
          const auto row =
              partner_row(grid_, there_m_, here_m_, rows_[static_cast<std::size_t>(y)], inverse[i]);
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
  std::vector<Colatitude> rows_;
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

// For every pixel the nearest confirmed one in a direction, row by row: each row's follow from
// those of the row before.
class Sweeper {
 public:
  // `dy` 0, or −1 or 1 for what lies above or below; `dx` likewise.
  Sweeper(const Image& sight, bool closed, int dx, int dy)
      : sight_(sight),
        closed_(closed),
        dx_(dx),
        dy_(dy),
        steps_(static_cast<std::size_t>(sight.width()), kNone) {}

  /// Steps to the nearest confirmed pixel of each in row y, or kNone. Rows must come in order:
  /// downwards if dy < 0, upwards if dy > 0.
  const std::vector<int>& row(int y) {
    if (dy_ == 0) {
      along_row(y);
    } else {
      across_rows(y);
    }
    return steps_;
  }

  static constexpr int kNone = kFillReach_px + 1;

 private:
  [[nodiscard]] int width() const { return sight_.width(); }
  [[nodiscard]] bool confirmed(int x, int y) const { return sight_at(sight_, x, y) == Sight::both; }

  void along_row(int y) {
    const int start = dx_ < 0 ? 0 : width() - 1;
    int since = kNone;
    // Around once more, so that what lies beyond a closed ribbon's ends is known.
    for (int i = closed_ ? -std::min(width(), kFillReach_px) : 0; i < width(); ++i) {
      const int x = (start - i * dx_ + width()) % width();
      if (i >= 0) steps_[static_cast<std::size_t>(x)] = since;
      since = confirmed(x, y) ? 1 : std::min(since + 1, kNone);
    }
  }

  void across_rows(int y) {
    const int from_y = y + dy_;
    if (from_y < 0 || from_y >= sight_.height()) {
      std::ranges::fill(steps_, kNone);
      return;
    }
    const std::vector<int> before = steps_;
    for (int x = 0; x < width(); ++x) {
      int from_x = x + dx_;
      if (closed_) from_x = (from_x + width()) % width();
      int& steps = steps_[static_cast<std::size_t>(x)];
      if (from_x < 0 || from_x >= width()) {
        steps = kNone;
      } else if (confirmed(from_x, from_y)) {
        steps = 1;
      } else {
        steps = std::min(before[static_cast<std::size_t>(from_x)] + 1, kNone);
      }
    }
  }

  const Image& sight_;
  bool closed_;
  int dx_;
  int dy_;
  std::vector<int> steps_;
};

class GapFiller {
 public:
  GapFiller(const LensDepth& depth, const Strip& strip)
      : depth_(depth),
        strip_(strip),
        width_(strip.grid.width_px),
        height_(strip.grid.height_px),
        closed_(strip.grid.closed) {}

  [[nodiscard]] Image filled() {
    constexpr std::array<Direction, 8> kDirections = {
        {{-1, -1}, {0, -1}, {1, -1}, {-1, 0}, {1, 0}, {-1, 1}, {0, 1}, {1, 1}}};
    list_gaps();
    votes_.resize(gaps_.size() * kDirections.size());
    parallel_for(0, static_cast<int>(kDirections.size()), [&](int d) {
      collect(kDirections[static_cast<std::size_t>(d)], static_cast<std::size_t>(d));
    });
    Image result = depth_.inverse_m;
    parallel_for(0, height_, [&](int y) {
      const auto to = result.row<float>(y);
      for (std::size_t k = first_gap_[static_cast<std::size_t>(y)];
           k < first_gap_[static_cast<std::size_t>(y) + 1]; ++k) {
        const int x = gaps_[k];
        to[static_cast<std::size_t>(x)] = value(k, x, y);
      }
    });
    return result;
  }

 private:
  struct Direction {
    int dx, dy;
  };

  void list_gaps() {
    for (int y = 0; y < height_; ++y) {
      first_gap_.push_back(gaps_.size());
      for (int x = 0; x < width_; ++x) {
        if (sight_at(depth_.sight, x, y) != Sight::both) gaps_.push_back(x);
      }
    }
    first_gap_.push_back(gaps_.size());
  }

  // What one direction says about every gap; no weight where it says nothing.
  void collect(const Direction& way, std::size_t slot) {
    Sweeper sweeper(depth_.sight, closed_, way.dx, way.dy);
    for (int i = 0; i < height_; ++i) {
      const int y = way.dy > 0 ? height_ - 1 - i : i;
      const std::vector<int>& steps = sweeper.row(y);
      const auto own = strip_.normalised.row<float>(y);
      for (std::size_t k = first_gap_[static_cast<std::size_t>(y)];
           k < first_gap_[static_cast<std::size_t>(y) + 1]; ++k) {
        const auto x = static_cast<std::size_t>(gaps_[k]);
        const int far = steps[x];
        if (far > kFillReach_px) continue;
        const int at_x = ((gaps_[k] + far * way.dx) % width_ + width_) % width_;
        const int at_y = y + far * way.dy;
        const auto at = static_cast<std::size_t>(at_x);
        const float off = std::abs(strip_.normalised.row<float>(at_y)[at] - own[x]);
        const float alike = kAlike / (kAlike + off);
        votes_[8 * k + slot] = {depth_.inverse_m.row<float>(at_y)[at],
                                alike / static_cast<float>(far)};
      }
    }
  }

  [[nodiscard]] float value(std::size_t gap, int x, int y) const {
    std::array<Vote, 8> votes;
    std::size_t count = 0;
    for (std::size_t i = 8 * gap; i < 8 * gap + 8; ++i) {
      if (votes_[i].weight <= 0) continue;
      std::size_t at = count++;  // sorted in, the farthest first
      for (; at > 0 && votes[at - 1].inverse > votes_[i].inverse; --at) votes[at] = votes[at - 1];
      votes[at] = votes_[i];
    }
    if (count == 0) return depth_.inverse_m.row<float>(y)[static_cast<std::size_t>(x)];
    // The second farthest rather than the farthest: one of eight may be an error.
    if (sight_at(depth_.sight, x, y) == Sight::hidden) return votes[count > 2 ? 1 : 0].inverse;
    return weighted_median({votes.data(), count});
  }

  static float weighted_median(std::span<const Vote> votes) {
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
  int height_;
  bool closed_;
  std::vector<int> gaps_;               // columns, row after row
  std::vector<std::size_t> first_gap_;  // of each row, and the end
  std::vector<Vote> votes_;             // eight a gap
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
  depth.inverse_m = GapFiller(depth, strip).filled();
}

}  // namespace seamwright
