#include "seams/ribbon_depth.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "seams/bad_option.h"
#include "seams/baseline_view.h"
#include "seams/depth_check.h"
#include "seams/speckle.h"

namespace seamwright {

namespace {

constexpr std::string_view kDepthPart = "ribbon depth";
constexpr double kLeastHalfBaseline = 5e-5;
constexpr double kGap_px = 1.5;     // of disparity between neighbours on one surface
constexpr double kAnchorPull = 60;  // cost a px of disparity away from an anchor
constexpr double kMostAnchorPull = 180;

// The same ribbon with pixels `factor` times as large. A closed one keeps its whole turn.
RibbonGrid coarser(const RibbonGrid& grid, int factor) {
  RibbonGrid coarse = grid;
  coarse.width_px = std::max(1, grid.width_px / factor);
  coarse.px_per_rad = grid.px_per_rad * coarse.width_px / grid.width_px;
  coarse.height_px =
      static_cast<int>(std::ceil(grid.height_px * coarse.px_per_rad / grid.px_per_rad));
  return coarse;
}

// Columns [pad, pad + width) of a picture.
Image cropped(const Image& from, int pad_px, int width_px) {
  Image to(width_px, from.height(), from.channels(), from.type());
  const std::size_t pixel = bytes_per_sample(from.type());
  for (int y = 0; y < from.height(); ++y) {
    const std::byte* row = from.bytes().data() + static_cast<std::size_t>(y) * from.row_bytes();
    std::copy_n(row + static_cast<std::size_t>(pad_px) * pixel, to.row_bytes(),
                to.bytes().data() + static_cast<std::size_t>(y) * to.row_bytes());
  }
  return to;
}

// A strip whose local normalisation does not know where the raster begins.
Strip seamless_strip(const LensView& view, const RibbonGrid& grid, int window_px) {
  const NormaliseOptions normalise{.window_px = window_px};
  if (!grid.closed) return render_strip(view, grid, normalise);
  const int pad_px = 8 * ((window_px / 2 + 8) / 8);
  const Strip wide = render_strip(view, padded(grid, pad_px), normalise);
  return {{.raw = cropped(wide.raw, pad_px, grid.width_px),
           .normalised = cropped(wide.normalised, pad_px, grid.width_px),
           .valid = cropped(wide.valid, pad_px, grid.width_px)},
          grid};
}

class DepthFinder {
 public:
  DepthFinder(const LensView& a, const LensView& b, const RibbonGrid& grid, double half_m,
              double nearest, const RibbonDepthOptions& options,
              std::span<const DepthAnchor> anchors)
      : grid_(grid),
        half_m_(half_m),
        labels_(depth_labels(grid, half_m, nearest, options.step_px)),
        options_(options),
        anchors_(anchors),
        strip_a_(seamless_strip(a, grid, options.window_px)),
        strip_b_(seamless_strip(b, grid, options.window_px)) {}

  RibbonDepth run() {
    RibbonDepth found{.grid = grid_, .half_baseline_m = half_m_};
    found.px_per_inverse_m = labels_.px_per_label / labels_.step_inverse_m;
    found.gap_inverse_m = kGap_px / found.px_per_inverse_m;
    const StripView a{strip_a_, half_m_};
    const StripView b{strip_b_, -half_m_};
    found.of_a = seen_by(a, b);
    found.of_b = seen_by(b, a);
    check_each_other({found.of_a, half_m_}, {found.of_b, -half_m_}, grid_,
                     {found.px_per_inverse_m, options_.agree_px});
    for (LensDepth* depth : {&found.of_a, &found.of_b}) {
      doubt_speckle(*depth, grid_.closed, found.gap_inverse_m, options_.least_island_px);
    }
    fill_gaps(found.of_a, strip_a_);
    fill_gaps(found.of_b, strip_b_);
    return found;
  }

 private:
  LensDepth seen_by(const StripView& reference, const StripView& other) {
    match_cost(reference, other, labels_, volume_);
    for (const DepthAnchor& anchor : anchors_) pull(reference.offset_m, anchor);
    aggregate(volume_, reference.strip, options_.smoothness, sums_);
    return best_depth(sums_, volume_, reference.strip, labels_);
  }

  // Makes other depths dearer around an anchor, less with distance.
  void pull(double offset_m, const DepthAnchor& anchor) {
    const RibbonAngles middle = grid_.axes.angles(anchor.direction);
    const Vec2 at = grid_.position(grid_.axes.direction(
        {middle.psi_rad, eta_seen_from(offset_m, 0, middle.eta_rad, anchor.inverse_m)}));
    const int reach = options_.anchor_reach_px;
    const int at_x = static_cast<int>(std::floor(at.x()));
    const int at_y = static_cast<int>(std::floor(at.y()));
    const double label = anchor.inverse_m / labels_.step_inverse_m;
    for (int y = std::max(0, at_y - reach); y <= std::min(grid_.height_px - 1, at_y + reach); ++y) {
      for (int dx = -reach; dx <= reach; ++dx) {
        int x = at_x + dx;
        if (grid_.closed) x = (x + grid_.width_px) % grid_.width_px;
        if (x < 0 || x >= grid_.width_px) continue;
        std::uint8_t* cost = volume_.cost.data() + volume_.index(x, y);
        const double ease = std::max(0.0, 1 - std::hypot(dx, y - at_y) / (reach + 1));
        for (int k = 0; k < volume_.labels; ++k) {
          const double off_px = std::abs(k - label) * labels_.px_per_label;
          const double dearer = cost[k] + ease * std::min(kMostAnchorPull, kAnchorPull * off_px);
          cost[k] = static_cast<std::uint8_t>(std::min(dearer, 1.0 * kMostCost));
        }
      }
    }
  }

  const RibbonGrid& grid_;
  double half_m_;
  DepthLabels labels_;
  const RibbonDepthOptions& options_;
  std::span<const DepthAnchor> anchors_;
  Strip strip_a_;
  Strip strip_b_;
  CostVolume volume_ = {};  // of one lens, then of the other: what is largest is there once
  std::vector<std::int16_t> sums_ = {};
};

}  // namespace

std::optional<Error> RibbonDepthOptions::validate() const {
  if (!(nearest_m > 0)) return bad_option(kDepthPart, "nearest_m", nearest_m, "above 0");
  if (!(nearest_baselines >= 1)) {
    return bad_option(kDepthPart, "nearest_baselines", nearest_baselines, "at least 1");
  }
  if (!(step_px >= 0.25 && step_px <= 2))
    return bad_option(kDepthPart, "step_px", step_px, "in 0.25…2");
  if (!(agree_px > 0)) return bad_option(kDepthPart, "agree_px", agree_px, "above 0");
  if (window_px % 2 == 0 || window_px < 9 || window_px > 101) {
    return bad_option(kDepthPart, "window_px", window_px, "odd in 9…101");
  }
  if (anchor_reach_px < 0)
    return bad_option(kDepthPart, "anchor_reach_px", anchor_reach_px, "at least 0");
  if (least_island_px < 0)
    return bad_option(kDepthPart, "least_island_px", least_island_px, "at least 0");
  if (!(most_cells >= 1e5))
    return bad_option(kDepthPart, "most_cells", most_cells, "at least 100000");
  const int most_step = smoothness.large_step;
  if (smoothness.small_step < 0 || most_step <= smoothness.small_step || most_step > 2000) {
    return bad_option(kDepthPart, "smoothness.large_step", most_step,
                      "above the small step, up to 2000");
  }
  if (!(smoothness.edge_unit > 0)) {
    return bad_option(kDepthPart, "smoothness.edge_unit", smoothness.edge_unit, "above 0");
  }
  return std::nullopt;
}

RibbonGrid depth_raster(const RibbonGrid& grid, double half_m, double nearest,
                        const RibbonDepthOptions& options) {
  RibbonGrid raster = grid;
  for (int factor = 2;; ++factor) {
    const DepthLabels labels = depth_labels(raster, half_m, nearest, options.step_px);
    if (1.0 * raster.width_px * raster.height_px * labels.count <= options.most_cells) break;
    raster = coarser(grid, factor);
  }
  return raster;
}

Result<RibbonDepth> ribbon_depth(const LensView& a, const LensView& b, const RibbonGrid& grid,
                                 bool metric, const RibbonDepthOptions& options,
                                 std::span<const DepthAnchor> anchors) {
  if (auto error = options.validate()) return fail(std::move(*error));
  const double half = half_baseline(a.mounted, b.mounted, grid);
  const double nearest = options.nearest(metric);
  if (half < kLeastHalfBaseline) {
    return fail(Error{.kind = ErrorKind::user_input,
                      .where = {},
                      .field = "pupils",
                      .what = fmt::format("only {} apart along the ribbon's pole", 2 * half),
                      .remedy = "stitch this pair without depth"});
  }
  if (nearest <= half)
    return fail(bad_option(kDepthPart, "nearest_m", nearest, "beyond the lenses' pupils"));
  const RibbonGrid used = depth_raster(grid, half, nearest, options);
  return DepthFinder(a, b, used, half, nearest, options, anchors).run();
}

}  // namespace seamwright
