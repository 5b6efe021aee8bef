#include "seams/warp_polish.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string_view>

#include "base/parallel.h"
#include "seams/bad_option.h"
#include "seams/baseline_view.h"
#include "seams/view_detail.h"

namespace seamwright {

namespace {

constexpr std::string_view kPolishPart = "warp polish";
constexpr float kUnlike = 0.15F;      // difference of log light that halves a pixel's weight
constexpr double kGrain_px2 = 4;      // neighbouring pixels share their noise
constexpr float kLeastShare = 0.05F;  // of a window that both lenses show

// What each pixel's window is summed from.
struct Products {
  Plane slope_step;
  Plane slope_square;
  Plane step_square;
  Plane weight;
};

Products products(const Plane& a, const Plane& b, const Plane& shown) {
  const Plane none(a.width_px, a.height_px);
  Products sums{none, none, none, none};
  parallel_for(1, std::max(1, a.height_px - 1), [&](int y) {
    for (int x = 0; x < a.width_px; ++x) {
      if (shown.row(y - 1)[x] == 0 || shown.row(y)[x] == 0 || shown.row(y + 1)[x] == 0) continue;
      const float slope =
          0.25F * (a.row(y + 1)[x] - a.row(y - 1)[x] + b.row(y + 1)[x] - b.row(y - 1)[x]);
      const float step = a.row(y)[x] - b.row(y)[x];
      const float weight = 1 / (1 + step * step / (kUnlike * kUnlike));
      sums.slope_step.row(y)[x] = weight * slope * step;
      sums.slope_square.row(y)[x] = weight * slope * slope;
      sums.step_square.row(y)[x] = weight * step * step;
      sums.weight.row(y)[x] = weight;
    }
  });
  return sums;
}

// By how many rows lens b's picture lies lower than lens a's.
Plane misses(const SeamViews& views, const WarpPolishOptions& options) {
  const Plane shown = shown_by_both(views);
  const Plane a = view_detail(views.light_a, shown, options.flat_px, views.closed);
  const Plane b = view_detail(views.light_b, shown, options.flat_px, views.closed);
  const Products sums = products(a, b, shown);
  const Plane step = blurred(sums.slope_step, options.window_px, views.closed);
  const Plane square = blurred(sums.slope_square, options.window_px, views.closed);
  const Plane spread = blurred(sums.step_square, options.window_px, views.closed);
  const Plane weight = blurred(sums.weight, options.window_px, views.closed);
  const double samples =
      std::max(1.0, 4 * kPi * options.window_px * options.window_px / kGrain_px2);
  const auto prior = static_cast<float>(1 / (samples * options.expect_px * options.expect_px));
  const auto noise = static_cast<float>(2 * options.noise * options.noise);
  const auto most = static_cast<float>(options.most_px);
  Plane miss(shown.width_px, shown.height_px);
  for (std::size_t i = 0; i < miss.value.size(); ++i) {
    if (weight.value[i] < kLeastShare) continue;
    const float explained = step.value[i] * step.value[i] / std::max(1e-12F, square.value[i]);
    const float left = std::max(spread.value[i] - explained, noise * weight.value[i]);
    const float found = step.value[i] / (square.value[i] + prior * left);
    miss.value[i] = std::clamp(found, -most, most);
  }
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
  const Plane miss = misses(views, options);
  parallel_for(0, grid.height_px, [&](int y) {
    const auto shift_a = warp.shift_a_rad.row<float>(y);
    const auto shift_b = warp.shift_b_rad.row<float>(y);
    for (int x = 0; x < grid.width_px; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const double walked = slide.offset_m(x, eta_of_row(grid, y + 0.5)) / slide.half_m();
      const double moved = slide.strength(x) * miss.row(y)[x] / grid.px_per_rad;
      shift_a[i] -= static_cast<float>(0.5 * (1 - walked) * moved);
      shift_b[i] += static_cast<float>(0.5 * (1 + walked) * moved);
    }
  });
  return {};
}

}  // namespace seamwright
