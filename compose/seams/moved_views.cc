#include "compose/seams/moved_views.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "base/parallel.h"
#include "compose/seams/ribbon_kernels.h"

namespace seamwright {

namespace {

constexpr int kMovedColumns = 32;  // columns moved at a time: their rows stay at hand
int floor_of(float value) {        // the library's is a call
  const auto whole = static_cast<int>(value);
  return whole - (static_cast<float>(whole) > value ? 1 : 0);
}

// One lens' view and where its pixels were read.
struct ReadView {
  Image& light;
  Image& state;
  const Image& read_rad;
  const Image& now_rad;
  float px_per_rad;
};

// Moves some columns of a view along η.
class BlockMove {
 public:
  BlockMove(const ReadView& view, int begin, int end)
      : view_(view),
        begin_(static_cast<std::size_t>(begin)),
        columns_(static_cast<std::size_t>(end - begin)),
        channels_(static_cast<std::size_t>(view.light.channel_count())),
        height_(view.light.height()) {
    // Rows are overwritten while others still need them.
    const std::size_t floats = columns_ * channels_;
    for (int y = 0; y < height_; ++y) {
      const float* from = view.light.row<float>(y).data() + begin_ * channels_;
      light_.insert(light_.end(), from, from + floats);
      const std::uint8_t* state = view.state.row<std::uint8_t>(y).data() + begin_;
      state_.insert(state_.end(), state, state + columns_);
    }
  }

  void run() {
    for (int y = 0; y < height_; ++y) {
      find_moves(y);
      const auto [least, most] = std::minmax_element(by_.begin(), by_.begin() + end());
      if (*least == 0 && *most == 0) continue;
      move_light(y, floor_of(*least) - 1, floor_of(*most) + 2);
      for (std::size_t i = 0; i < columns_; ++i) {
        if (by_[i] != 0) move_state(y, i);
      }
    }
  }

 private:
  [[nodiscard]] std::ptrdiff_t end() const { return static_cast<std::ptrdiff_t>(columns_); }
  [[nodiscard]] int held(int y) const { return std::clamp(y, 0, height_ - 1); }

  // By how many rows of the view each pixel's place has moved. Neighbouring rows were not read a
  // row apart.
  void find_moves(int y) {
    const int above = held(y - 1);
    const int below = held(y + 1);
    const auto row = [this](const Image& of, int at) { return of.row<float>(at).data() + begin_; };
    moved_row({.now_rad = row(view_.now_rad, y),
               .read_rad = row(view_.read_rad, y),
               .above_rad = row(view_.read_rad, above),
               .below_rad = row(view_.read_rad, below),
               .px_per_rad = view_.px_per_rad,
               .between = static_cast<float>(std::max(1, below - above))},
              columns_, by_.data());
  }

  // From rows `first` … `last` beside row y.
  void move_light(int y, int first, int last) {
    rows_.clear();
    for (int at = first; at <= last; ++at) {
      rows_.push_back(light_.data() +
                      static_cast<std::size_t>(held(y + at)) * columns_ * channels_);
    }
    for (std::size_t i = 0; i < columns_; ++i) {
      std::fill_n(by_sample_.begin() + static_cast<std::ptrdiff_t>(i * channels_), channels_,
                  by_[i]);
    }
    interpolate_row(rows_, first, by_sample_.data(), columns_ * channels_,
                    view_.light.row<float>(y).data() + begin_ * channels_);
  }

  // Who stands before a pixel is the warp's to say; whether it is clipped goes with its light.
  void move_state(int y, std::size_t i) {
    std::uint8_t& state = view_.state.row<std::uint8_t>(y)[begin_ + i];
    const auto own = static_cast<ViewState>(state);
    if (own == ViewState::hidden || own == ViewState::outside) return;
    const int nearest = held(y + floor_of(by_[i] + 0.5F));
    const auto there =
        static_cast<ViewState>(state_[static_cast<std::size_t>(nearest) * columns_ + i]);
    state = static_cast<std::uint8_t>(there == ViewState::clipped ? ViewState::clipped
                                                                  : ViewState::good);
  }

  const ReadView& view_;
  std::size_t begin_;
  std::size_t columns_;
  std::size_t channels_;
  int height_;
  std::vector<float> light_;  // as it was, row by row
  std::vector<std::uint8_t> state_;
  std::vector<const float*> rows_;
  std::array<float, kMovedColumns> by_;
  std::array<float, 3 * kMovedColumns> by_sample_;
};

}  // namespace

void move_views(SeamViews& views, const ViewShifts& read, const ViewWarp& warp) {
  assert(views.light_a.width() == warp.grid.width_px);
  assert(views.light_a.height() == warp.grid.height_px);
  const auto scale = static_cast<float>(warp.grid.px_per_rad);
  const std::array<ReadView, 2> lenses = {
      {{views.light_a, views.state_a, read.a_rad, warp.shift_a_rad, scale},
       {views.light_b, views.state_b, read.b_rad, warp.shift_b_rad, scale}}};
  const int width = warp.grid.width_px;
  const int blocks = (width + kMovedColumns - 1) / kMovedColumns;
  parallel_for(0, 2 * blocks, [&](int i) {
    const int begin = i / 2 * kMovedColumns;
    BlockMove(lenses[static_cast<std::size_t>(i % 2)], begin,
              std::min(width, begin + kMovedColumns))
        .run();
  });
}

}  // namespace seamwright
