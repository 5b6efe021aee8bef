#include "compose/seams/depth_check.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/parallel.h"
#include "compose/seams/baseline_view.h"

namespace seamwright {

namespace {

constexpr int kFillReach_px = 400;
constexpr float kAlike = 0.6F;  // difference of normalised brightness that halves a vote

Visibility visibility_at(const Image& visibility, int x, int y) {
  return static_cast<Visibility>(visibility.row<std::uint8_t>(y)[static_cast<std::size_t>(x)]);
}

constexpr std::int16_t kNoRow = -1;

// Rows of the other lens' strip where a lens' points lie; kNoRow outside the raster or where it
// sees nothing.
std::vector<std::int16_t> partner_rows(const RibbonGrid& grid, const LensDepth& depth,
                                       double from_m, double to_m) {
  const std::vector<Colatitude> colatitudes = row_colatitudes(grid);
  const auto width = static_cast<std::size_t>(grid.width_px);
  std::vector<std::int16_t> rows(width * static_cast<std::size_t>(grid.height_px));
  const auto px_per_rad = static_cast<float>(grid.px_per_rad);
  const auto height = static_cast<float>(grid.height_px);
  parallel_for(0, grid.height_px, [&](int y) {
    std::vector<float> turn(width);
    turns_seen_from(colatitudes[static_cast<std::size_t>(y)], from_m, to_m,
                    depth.inverse_m.row<float>(y), turn.data());
    const std::uint8_t* visibility = depth.visibility.row<std::uint8_t>(y).data();
    std::int16_t* to = rows.data() + static_cast<std::size_t>(y) * width;
    const float middle = static_cast<float>(y) + 0.5F;
    for (std::size_t x = 0; x < width; ++x) {
      const float row = middle + turn[x] * px_per_rad;
      const bool inside = row >= 0 && row < height;
      const bool seen = static_cast<Visibility>(visibility[x]) != Visibility::none;
      to[x] = inside && seen ? static_cast<std::int16_t>(row) : kNoRow;
    }
  });
  return rows;
}

class Checker {
 public:
  // `partner`: partner_rows() of `here`, `back` of `there`.
  Checker(const LensDepth& here, const LensDepth& there, const std::vector<std::int16_t>& partner,
          const std::vector<std::int16_t>& back, double most_inverse)
      : here_(here),
        there_(there),
        partner_(partner),
        back_(back),
        width_(here.visibility.width()),
        most_inverse_(most_inverse) {}

  // Of the columns from `begin` to `end`.
  void set_visibility(int begin, int end, Image& result) const {
    const int height = here_.visibility.height();
    const auto first = static_cast<std::size_t>(begin);
    const auto last = static_cast<std::size_t>(end);
    // Pixels here that some pixel there claims to see.
    std::vector<char> landed((last - first) * static_cast<std::size_t>(height));
    for (int y = 0; y < height; ++y) {
      const std::int16_t* row = back_.data() + index(y);
      for (std::size_t x = first; x < last; ++x) {
        if (row[x] == kNoRow) continue;
        landed[static_cast<std::size_t>(row[x]) * (last - first) + x - first] = 1;
      }
    }
    for (int y = 0; y < height; ++y) {
      const auto to = result.row<std::uint8_t>(y);
      const char* claimed = landed.data() + static_cast<std::size_t>(y) * (last - first);
      for (std::size_t x = first; x < last; ++x) {
        if (static_cast<Visibility>(to[x]) == Visibility::none) continue;
        Visibility visibility = compared(x, y);
        if (visibility == Visibility::unsure && claimed[x - first] == 0)
          visibility = Visibility::hidden;
        to[x] = static_cast<std::uint8_t>(visibility);
      }
    }
  }

 private:
  [[nodiscard]] std::size_t index(int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_);
  }

  // `both`, `outside` or, where the lenses disagree, `unsure`.
  [[nodiscard]] Visibility compared(std::size_t x, int y) const {
    const int row = partner_[index(y) + x];
    if (row == kNoRow ||
        visibility_at(there_.visibility, static_cast<int>(x), row) == Visibility::none) {
      return Visibility::outside;
    }
    const float off = here_.inverse_m.row<float>(y)[x] - there_.inverse_m.row<float>(row)[x];
    return std::abs(off) <= most_inverse_ ? Visibility::both : Visibility::unsure;
  }

  const LensDepth& here_;
  const LensDepth& there_;
  const std::vector<std::int16_t>& partner_;
  const std::vector<std::int16_t>& back_;
  int width_;
  double most_inverse_;
};

void forget_unconfirmed(LensDepth& depth, Image visibility) {
  depth.visibility = std::move(visibility);
  parallel_for(0, depth.visibility.height(), [&](int y) {
    const auto confidence = depth.confidence.row<float>(y);
    const auto state = depth.visibility.row<std::uint8_t>(y);
    for (std::size_t x = 0; x < confidence.size(); ++x) {
      if (static_cast<Visibility>(state[x]) != Visibility::both) confidence[x] = 0;
    }
  });
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
  Sweeper(const Image& visibility, bool closed, int dx, int dy)
      : visibility_(visibility),
        closed_(closed),
        dx_(dx),
        dy_(dy),
        steps_(static_cast<std::size_t>(visibility.width()), kNone) {}

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
  [[nodiscard]] int width() const { return visibility_.width(); }
  [[nodiscard]] bool confirmed(int x, int y) const {
    return visibility_at(visibility_, x, y) == Visibility::both;
  }

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
    if (from_y < 0 || from_y >= visibility_.height()) {
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

  const Image& visibility_;
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
        if (visibility_at(depth_.visibility, x, y) != Visibility::both) gaps_.push_back(x);
      }
    }
    first_gap_.push_back(gaps_.size());
  }

  // What one direction says about every gap; no weight where it says nothing.
  void collect(const Direction& way, std::size_t slot) {
    Sweeper sweeper(depth_.visibility, closed_, way.dx, way.dy);
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
    if (visibility_at(depth_.visibility, x, y) == Visibility::hidden)
      return votes[count > 2 ? 1 : 0].inverse;
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

void check_each_other(LensDepth& a, LensDepth& b, const RibbonGrid& grid,
                      const CheckOptions& options) {
  const std::vector<std::int16_t> from_a = partner_rows(grid, a, a.offset_m, b.offset_m);
  const std::vector<std::int16_t> from_b = partner_rows(grid, b, b.offset_m, a.offset_m);
  const double most_inverse = options.most_px / options.px_per_inverse_m;
  const Checker of_a(a, b, from_a, from_b, most_inverse);
  const Checker of_b(b, a, from_b, from_a, most_inverse);
  Image visibility_a = a.visibility;
  Image visibility_b = b.visibility;
  constexpr int kColumns = 64;
  parallel_for(0, (grid.width_px + kColumns - 1) / kColumns, [&](int block) {
    const int end = std::min((block + 1) * kColumns, grid.width_px);
    of_a.set_visibility(block * kColumns, end, visibility_a);
    of_b.set_visibility(block * kColumns, end, visibility_b);
  });
  forget_unconfirmed(a, std::move(visibility_a));
  forget_unconfirmed(b, std::move(visibility_b));
}

void fill_gaps(LensDepth& depth, const Strip& strip) {
  depth.inverse_m = GapFiller(depth, strip).filled();
}

}  // namespace seamwright
