#include "compose/seams/warp_polish.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <string_view>
#include <vector>

#include "base/parallel.h"
#include "compose/seams/bad_option.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/view_detail.h"

namespace seamwright {

namespace {

constexpr std::string_view kPolishPart = "warp polish";
constexpr float kUnlike = 0.15F;      // difference of log light that halves a pixel's weight
constexpr double kGrain_px2 = 4;      // neighbouring pixels share their noise
constexpr float kLeastShare = 0.05F;  // of a window that both lenses show

// What each pixel's window is summed from.
struct Products {
  FloatPlane slope_step;
  FloatPlane slope_square;
  FloatPlane step_square;
  FloatPlane weight;
};

Products products(const FloatPlane& a, const FloatPlane& b, const FloatPlane& shown) {
  Products sums;
  const std::array<FloatPlane*, 4> all = {&sums.slope_step, &sums.slope_square, &sums.step_square,
                                          &sums.weight};
  parallel_for(0, static_cast<int>(all.size()),
               [&](int i) { *all[static_cast<std::size_t>(i)] = FloatPlane(a.width, a.height); });
  parallel_for(1, std::max(1, a.height - 1), [&](int y) {
    for (int x = 0; x < a.width; ++x) {
      if (shown.line(y - 1)[x] == 0 || shown.line(y)[x] == 0 || shown.line(y + 1)[x] == 0) continue;
      const float slope =
          0.25F * (a.line(y + 1)[x] - a.line(y - 1)[x] + b.line(y + 1)[x] - b.line(y - 1)[x]);
      const float step = a.line(y)[x] - b.line(y)[x];
      const float weight = 1 / (1 + step * step / (kUnlike * kUnlike));
      sums.slope_step.line(y)[x] = weight * slope * step;
      sums.slope_square.line(y)[x] = weight * slope * slope;
      sums.step_square.line(y)[x] = weight * step * step;
      sums.weight.line(y)[x] = weight;
    }
  });
  return sums;
}

// By how many rows lens b's picture lies lower than lens a's.
FloatPlane misses(const SeamViews& views, const WarpPolishOptions& options) {
  const FloatPlane shown = shown_by_both(views);
  const auto [a, b] = view_details(views, shown, options.flat_px);
  Products sums = products(a, b, shown);
  const std::array<FloatPlane*, 4> all = {&sums.slope_step, &sums.slope_square, &sums.step_square,
                                          &sums.weight};
  parallel_for(0, static_cast<int>(all.size()), [&](int i) {
    FloatPlane& sum = *all[static_cast<std::size_t>(i)];
    sum = blurred(sum, options.window_px, views.closed);
  });
  const double samples =
      std::max(1.0, 4 * kPi * options.window_px * options.window_px / kGrain_px2);
  const auto prior = static_cast<float>(1 / (samples * options.expect_px * options.expect_px));
  const auto noise = static_cast<float>(2 * options.noise * options.noise);
  const auto most = static_cast<float>(options.most_px);
  FloatPlane miss(shown.width, shown.height);
  parallel_for(0, miss.height, [&](int y) {
    const float* step = sums.slope_step.line(y);
    const float* square = sums.slope_square.line(y);
    const float* spread = sums.step_square.line(y);
    const float* weight = sums.weight.line(y);
    float* to = miss.line(y);
    for (int x = 0; x < miss.width; ++x) {
      if (weight[x] < kLeastShare) continue;
      const float explained = step[x] * step[x] / std::max(1e-12F, square[x]);
      const float left = std::max(spread[x] - explained, noise * weight[x]);
      const float found = step[x] / (square[x] + prior * left);
      to[x] = std::clamp(found, -most, most);
    }
  });
  return miss;
}

}  // namespace

std::optional<Error> WarpPolishOptions::validate() const {
  if (!(window_px >= 1 && window_px <= 16))
    return bad_option(kPolishPart, "window_px", window_px, "in 1…16");
  if (!(flat_px > window_px))
    return bad_option(kPolishPart, "flat_px", flat_px, "above the window");
  if (!(expect_px > 0)) return bad_option(kPolishPart, "expect_px", expect_px, "above 0");
  if (!(noise > 0)) return bad_option(kPolishPart, "noise", noise, "above 0");
  if (!(most_px >= 0)) return bad_option(kPolishPart, "most_px", most_px, "at least 0");
  return std::nullopt;
}

Result<void> polish_warp(ViewWarp& warp, const ViewpointSlide& slide, const SeamViews& views,
                         const WarpPolishOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = check(views)) return fail(std::move(*error));
  const RibbonGrid& grid = warp.grid;
  if (views.light_a.width() != grid.width_px || views.light_a.height() != grid.height_px) {
    return fail(Error{.kind = ErrorKind::user_input,
                      .where = {},
                      .field = "warp polish views",
                      .what = "are of another size than the warp",
                      .remedy = "give the views of this very warp"});
  }
  const FloatPlane miss = misses(views, options);
  const auto per_half_m = static_cast<float>(1 / slide.half_m());
  const auto rad_per_px = static_cast<float>(1 / grid.px_per_rad);
  parallel_for(0, grid.height_px, [&](int y) {
    const auto shift_a = warp.shift_a_rad.row<float>(y);
    const auto shift_b = warp.shift_b_rad.row<float>(y);
    std::vector<float> offset(shift_a.size());
    slide.offsets_m(0, eta_of_row(grid, y + 0.5), offset);
    const float* step = miss.line(y);
    for (std::size_t x = 0; x < offset.size(); ++x) {
      const float walked = offset[x] * per_half_m;
      const float moved = warp.strength[x] * step[x] * rad_per_px;
      shift_a[x] -= 0.5F * (1 - walked) * moved;
      shift_b[x] += 0.5F * (1 + walked) * moved;
    }
  });
  return {};
}

}  // namespace seamwright
