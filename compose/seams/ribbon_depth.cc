#include "compose/seams/ribbon_depth.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "base/parallel.h"
#include "compose/seams/bad_option.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/depth_check.h"
#include "compose/seams/depth_island.h"

namespace seamwright {

namespace {

constexpr std::string_view kDepthPart = "ribbon depth";
constexpr double kLeastHalfBaseline = 5e-5;
constexpr double kGap_px = 1.5;     // of disparity between neighbours on one surface
constexpr double kAnchorPull = 60;  // cost a px of disparity away from an anchor
constexpr double kMostAnchorPull = 180;

// The same ribbon with pixels `factor` times as large. A closed one keeps its whole turn, in an
// even number of columns.
RibbonGrid coarser(const RibbonGrid& grid, int factor) {
  RibbonGrid coarse = grid;
  coarse.width_px = std::max(1, grid.width_px / factor);
  if (coarse.closed && coarse.width_px > 1) coarse.width_px -= coarse.width_px % 2;
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

// The mean of every two by two pixels that the lens sees all of; what is left over at the ends is
// left out.
ResampledView halved(const Strip& strip, int width_px, int height_px) {
  ResampledView half{.raw = Image(width_px, height_px, Channels::grey, SampleType::f32),
                     .normalised = Image(width_px, height_px, Channels::grey, SampleType::f32),
                     .valid = Image(width_px, height_px, Channels::grey, SampleType::u8)};
  parallel_for(0, height_px, [&](int y) {
    const auto upper = strip.raw.row<float>(2 * y);
    const auto lower = strip.raw.row<float>(2 * y + 1);
    const auto upper_valid = strip.valid.row<std::uint8_t>(2 * y);
    const auto lower_valid = strip.valid.row<std::uint8_t>(2 * y + 1);
    const auto raw = half.raw.row<float>(y);
    const auto valid = half.valid.row<std::uint8_t>(y);
    for (std::size_t x = 0; x < raw.size(); ++x) {
      const std::size_t i = 2 * x;
      valid[x] = upper_valid[i] & upper_valid[i + 1] & lower_valid[i] & lower_valid[i + 1];
      if (valid[x] == 0) continue;
      raw[x] = 0.25F * (upper[i] + upper[i + 1] + lower[i] + lower[i + 1]);
    }
  });
  return half;
}

// A picture of a closed ribbon with `pad_px` columns of the other end on both sides.
Image around(const Image& from, int pad_px) {
  const int width = from.width();
  Image to(width + 2 * pad_px, from.height(), from.channels(), from.type());
  const std::size_t pixel = bytes_per_sample(from.type());
  for (int y = 0; y < from.height(); ++y) {
    const std::byte* row = from.bytes().data() + static_cast<std::size_t>(y) * from.row_bytes();
    std::byte* out = to.bytes().data() + static_cast<std::size_t>(y) * to.row_bytes();
    for (int x = -pad_px; x < width + pad_px; ++x, out += pixel) {
      std::copy_n(row + static_cast<std::size_t>((x + width) % width) * pixel, pixel, out);
    }
  }
  return to;
}

// The strip in a raster half as fine.
Strip half_strip(const Strip& strip, int window_px) {
  RibbonGrid grid = strip.grid;
  grid.width_px /= 2;
  grid.height_px /= 2;
  grid.px_per_rad /= 2;
  ResampledView half = halved(strip, grid.width_px, grid.height_px);
  const NormaliseOptions options{.window_px = window_px};
  if (!grid.closed) {
    normalise(half, options);
    return {std::move(half), grid};
  }
  const int pad_px = std::min(window_px, grid.width_px);
  ResampledView wide{.raw = around(half.raw, pad_px),
                     .normalised = around(half.normalised, pad_px),
                     .valid = around(half.valid, pad_px)};
  normalise(wide, options);
  half.normalised = cropped(wide.normalised, pad_px, grid.width_px);
  return {std::move(half), grid};
}

// Labels around what was found in a raster half as fine, tile by tile: all between the least and
// the greatest that any pixel near by has.
LabelWindows windows_around(const LensDepth& coarse, const RibbonGrid& grid,
                            const DepthLabels& labels) {
  constexpr int kTile = LabelWindows::kTile_px;
  constexpr int kReach_px = 8;  // around the tile
  constexpr int kMargin = 4;    // labels beyond what was found
  const int width = coarse.visibility.width();
  const int height = coarse.visibility.height();
  const int across = (grid.width_px + kTile - 1) / kTile;
  const int down = (grid.height_px + kTile - 1) / kTile;
  std::vector<LabelRun> runs(static_cast<std::size_t>(across) * static_cast<std::size_t>(down));
  const auto run_at = [&](int tile_x, int tile_y) {
    float least = std::numeric_limits<float>::max();
    float most = 0;
    for (int y = (tile_y * kTile - kReach_px) / 2; y < ((tile_y + 1) * kTile + kReach_px) / 2;
         ++y) {
      if (y < 0 || y >= height) continue;
      const auto inverse = coarse.inverse_m.row<float>(y);
      const auto visibility = coarse.visibility.row<std::uint8_t>(y);
      for (int x = (tile_x * kTile - kReach_px) / 2; x < ((tile_x + 1) * kTile + kReach_px) / 2;
           ++x) {
        if (!grid.closed && (x < 0 || x >= width)) continue;
        const auto i = static_cast<std::size_t>((x + width) % width);
        if (static_cast<Visibility>(visibility[i]) == Visibility::none) continue;
        least = std::min(least, inverse[i]);
        most = std::max(most, inverse[i]);
      }
    }
    if (least > most) return run_around(0, 0, labels.count);  // nothing is seen there
    const auto label = [&](float inverse) {
      return static_cast<double>(inverse) / labels.step_inverse_m;
    };
    return run_around(
        std::max(0, static_cast<int>(std::floor(label(least))) - kMargin),
        std::min(labels.count - 1, static_cast<int>(std::ceil(label(most))) + kMargin),
        labels.count);
  };
  parallel_for(0, down, [&](int y) {
    for (int x = 0; x < across; ++x) {
      runs[static_cast<std::size_t>(y) * static_cast<std::size_t>(across) +
           static_cast<std::size_t>(x)] = run_at(x, y);
    }
  });
  return {grid.width_px, grid.height_px, labels.count, std::move(runs)};
}

// Memory that both lenses' matching shares: what is largest is there once.
struct MatchMemory {
  CostVolume volume;
  std::vector<std::int16_t> sums;
};

// Depth of both lenses, as each of them matches the other.
struct PairDepth {
  LensDepth of_a;
  LensDepth of_b;
};

// Where a lens shows an anchor; it may lie outside the raster.
IslandPixel anchor_pixel(const RibbonGrid& grid, double offset_m, const DepthAnchor& anchor) {
  const RibbonAngles middle = grid.axes.angles(anchor.direction);
  const Vec2 at = grid.position(grid.axes.direction(
      {middle.psi_rad, eta_seen_from(offset_m, 0, middle.eta_rad, anchor.inverse_m)}));
  return {static_cast<int>(std::floor(at.x())), static_cast<int>(std::floor(at.y()))};
}

// Matches two strips of one raster.
class PairMatcher {
 public:
  PairMatcher(const Strip& a, const Strip& b, double half_m, double nearest,
              const RibbonDepthOptions& options, std::span<const DepthAnchor> anchors,
              MatchMemory& memory)
      : grid_(a.grid),
        a_{a, half_m},
        b_{b, -half_m},
        nearest_(nearest),
        labels_(depth_labels(grid_, half_m, nearest, options.step_px)),
        options_(options),
        anchors_(anchors),
        memory_(memory) {}

  [[nodiscard]] const DepthLabels& labels() const { return labels_; }

  PairDepth matched() {
    if (tries_everything()) {
      const LabelWindows all(grid_.width_px, grid_.height_px, labels_.count);
      return {.of_a = seen_by(a_, b_, all), .of_b = seen_by(b_, a_, all)};
    }
    const PairDepth coarse = coarsely_matched();
    return {.of_a = seen_by(a_, b_, windows_around(coarse.of_a, grid_, labels_)),
            .of_b = seen_by(b_, a_, windows_around(coarse.of_b, grid_, labels_))};
  }

 private:
  // Every label is tried where that is no work, or where halving would leave no picture.
  [[nodiscard]] bool tries_everything() const {
    constexpr int kFewLabels = 48;
    const int least_px = 2 * options_.window_px;
    const bool odd = grid_.closed && grid_.width_px % 2 != 0;
    return !options_.coarse_first || odd || labels_.count <= kFewLabels ||
           grid_.height_px < least_px || grid_.width_px < least_px;
  }

  [[nodiscard]] PairDepth coarsely_matched() {
    const Strip a = half_strip(a_.strip, options_.window_px);
    const Strip b = half_strip(b_.strip, options_.window_px);
    return PairMatcher(a, b, a_.offset_m, nearest_, options_, anchors_, memory_).matched();
  }

  LensDepth seen_by(const BaselineStrip& reference, const BaselineStrip& other,
                    LabelWindows windows) {
    match_cost(reference, other, labels_, std::move(windows), memory_.volume);
    for (const DepthAnchor& anchor : anchors_) pull(reference.offset_m, anchor);
    aggregate(memory_.volume, reference.strip, options_.smoothness, memory_.sums);
    LensDepth depth = best_depth(memory_.sums, memory_.volume, reference.strip, labels_);
    depth.offset_m = reference.offset_m;
    return depth;
  }

  // Makes other depths dearer around an anchor, less with distance.
  void pull(double offset_m, const DepthAnchor& anchor) {
    const int reach = options_.anchor_reach_px;
    const auto [at_x, at_y] = anchor_pixel(grid_, offset_m, anchor);
    const double label = anchor.inverse_m / labels_.step_inverse_m;
    for (int y = std::max(0, at_y - reach); y <= std::min(grid_.height_px - 1, at_y + reach); ++y) {
      for (int dx = -reach; dx <= reach; ++dx) {
        int x = at_x + dx;
        if (grid_.closed) x = (x + grid_.width_px) % grid_.width_px;
        if (x < 0 || x >= grid_.width_px) continue;
        const LabelRun& run = memory_.volume.windows.at(x, y);
        std::uint8_t* cost = memory_.volume.cost.data() + memory_.volume.windows.index(x, y);
        const double ease = std::max(0.0, 1 - std::hypot(dx, y - at_y) / (reach + 1));
        for (int k = 0; k < run.count; ++k) {
          const double off_px = std::abs(run.first + k - label) * labels_.px_per_label;
          const double dearer = cost[k] + ease * std::min(kMostAnchorPull, kAnchorPull * off_px);
          cost[k] = static_cast<std::uint8_t>(std::min(dearer, 1.0 * kMostCost));
        }
      }
    }
  }

  const RibbonGrid& grid_;
  BaselineStrip a_;
  BaselineStrip b_;
  double nearest_;
  DepthLabels labels_;
  const RibbonDepthOptions& options_;
  std::span<const DepthAnchor> anchors_;
  MatchMemory& memory_;
};

RibbonDepth confirmed(PairDepth matches, const Strip& a, const Strip& b, double half_m,
                      const DepthLabels& labels, const RibbonDepthOptions& options,
                      std::span<const DepthAnchor> anchors) {
  const RibbonGrid& grid = a.grid;
  RibbonDepth found{.grid = grid,
                    .half_baseline_m = half_m,
                    .px_per_inverse_m = labels.px_per_label / labels.step_inverse_m,
                    .of_a = std::move(matches.of_a),
                    .of_b = std::move(matches.of_b)};
  found.gap_inverse_m = kGap_px / found.px_per_inverse_m;
  const CheckOptions check{found.px_per_inverse_m, options.agree_px};
  check_each_other(found.of_a, found.of_b, grid, check);
  const auto joined = [&](LensDepth& depth, const BaselineStrip& own, const BaselineStrip& other) {
    IslandOptions islands{
        .gap_inverse_m = found.gap_inverse_m,
        .px_per_inverse_m = found.px_per_inverse_m,
        .at_least = static_cast<std::size_t>(options.least_island_px / 2),  // others are doubted
        .fewer_than =
            static_cast<std::size_t>(options.most_island_rad2 * grid.px_per_rad * grid.px_per_rad)};
    for (const DepthAnchor& anchor : anchors) {
      islands.held.push_back(anchor_pixel(grid, own.offset_m, anchor));
    }
    return join_islands(depth, own, other, islands);
  };
  const BaselineStrip from_a{a, half_m};
  const BaselineStrip from_b{b, -half_m};
  std::array<int, 2> joins{};
  parallel_for(0, 2, [&](int lens) {
    joins[static_cast<std::size_t>(lens)] =
        lens == 0 ? joined(found.of_a, from_a, from_b) : joined(found.of_b, from_b, from_a);
  });
  if (joins[0] + joins[1] > 0) check_each_other(found.of_a, found.of_b, grid, check);
  parallel_for(0, 2, [&](int lens) {
    LensDepth& depth = lens == 0 ? found.of_a : found.of_b;
    doubt_speckle(depth, grid.closed, found.gap_inverse_m, options.least_island_px);
    fill_gaps(depth, lens == 0 ? a : b);
  });
  return found;
}

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
  if (!(most_island_rad2 >= 0 && most_island_rad2 < 1))
    return bad_option(kDepthPart, "most_island_rad2", most_island_rad2, "in 0…1");
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
  for (int factor = 1;; ++factor) {
    RibbonGrid raster = coarser(grid, factor);
    const DepthLabels labels = depth_labels(raster, half_m, nearest, options.step_px);
    if (1.0 * raster.width_px * raster.height_px * labels.count <= options.most_cells) {
      return raster;
    }
  }
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
  const Strip strip_a = seamless_strip(a, used, options.window_px);
  const Strip strip_b = seamless_strip(b, used, options.window_px);
  MatchMemory memory;
  PairMatcher matcher(strip_a, strip_b, half, nearest, options, anchors, memory);
  return confirmed(matcher.matched(), strip_a, strip_b, half, matcher.labels(), options, anchors);
}

}  // namespace seamwright
