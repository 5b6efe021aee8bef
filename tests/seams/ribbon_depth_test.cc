#include "compose/seams/ribbon_depth.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/common_view.h"
#include "tests/seams/board_room.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

// Boards across the ring at 0.5…1.1 m, one of them over ψ = ±π, where the raster begins.
const BoardRoom& room() {
  static const BoardRoom it({{.middle = {0.7, 0.1, 0.02}, .half_wide_m = 0.15},
                             {.middle = {-0.6, 0.02, -0.02}, .half_wide_m = 0.12},
                             {.middle = {0.05, -0.5, 0}, .half_wide_m = 0.1, .half_high_m = 0.1},
                             {.middle = {-0.2, 1.1, 0.1}, .half_wide_m = 0.3}});
  return it;
}

RigOptions rig_options() {
  RigOptions options;
  options.width_px = options.height_px = 480;
  options.centre_spread_px = 4;
  options.theta_max_rad = rad_from_deg(103);
  return options;
}

struct Pair {
  Rig rig;
  RibbonGrid grid;
  std::vector<LensView> views;
};

Pair photographed(const RoomExposure& of_a, const RoomExposure& of_b) {
  Pair pair{.rig = random_rig(31, rig_options()), .grid = {RibbonAxes(Vec3::UnitZ())}, .views = {}};
  const double px_per_rad = pair.rig.lenses[0].lens.terms[kFocal];
  pair.grid = overlap_of(pair.rig, 0, 1, px_per_rad, rad_from_deg(0.5))->grid;
  const std::vector<Image> frames = {photograph(room(), pair.rig.lenses[0], of_a),
                                     photograph(room(), pair.rig.lenses[1], of_b)};
  pair.views = views_of(frames, pair.rig).value();
  return pair;
}

const Pair& plain_pair() {
  static const Pair pair = photographed({}, {.stream = 6});
  return pair;
}

RibbonDepth depth_of(const Pair& pair, const RibbonGrid& grid,
                     const RibbonDepthOptions& options = {}) {
  auto depth = ribbon_depth(pair.views[0], pair.views[1], grid, true, options);
  if (!depth) FAIL(depth.error().line());
  return std::move(*depth);
}

struct Errors {
  std::vector<double> px;   // of disparity, sorted
  double among_hidden = 0;  // share of what one lens sees only that is said to be matched

  [[nodiscard]] double quantile(double share) const {
    return px[static_cast<std::size_t>(share * static_cast<double>(px.size() - 1))];
  }
  [[nodiscard]] double share_above(double limit) const {
    const auto first = std::upper_bound(px.begin(), px.end(), limit);
    return static_cast<double>(px.end() - first) / static_cast<double>(px.size());
  }
};

// Disparity errors of one lens' depth where both lenses see the point.
Errors errors_of(const Pair& pair, const RibbonDepth& found, int lens) {
  const LensDepth& depth = lens == 0 ? found.of_a : found.of_b;
  const MountedLens& here = pair.rig.lenses[static_cast<std::size_t>(lens)];
  const MountedLens& there = pair.rig.lenses[static_cast<std::size_t>(1 - lens)];
  const Vec3 middle = 0.5 * (here.pupil + there.pupil);
  Errors errors;
  int hidden = 0;
  int hidden_matched = 0;
  for (int y = 0; y < found.grid.height_px; ++y) {
    const auto inverse = depth.inverse_m.row<float>(y);
    const auto visibility = depth.visibility.row<std::uint8_t>(y);
    for (int x = 0; x < found.grid.width_px; ++x) {
      const auto i = static_cast<std::size_t>(x);
      if (static_cast<Visibility>(visibility[i]) == Visibility::none) continue;
      const Vec2 px(x + 0.5, y + 0.5);
      if (!seen_by_both(room(), here, there, found.grid, px)) {
        ++hidden;
        if (static_cast<Visibility>(visibility[i]) == Visibility::both) ++hidden_matched;
        continue;
      }
      const double truth = true_inverse(room(), here, middle, found.grid, px);
      errors.px.push_back(std::abs(static_cast<double>(inverse[i]) - truth) *
                          found.px_per_inverse_m);
    }
  }
  REQUIRE(errors.px.size() > 10000);
  REQUIRE(hidden > 100);
  std::sort(errors.px.begin(), errors.px.end());
  errors.among_hidden = 1.0 * hidden_matched / hidden;
  return errors;
}

void check_accuracy(const Pair& pair, const RibbonDepth& found) {
  for (int lens = 0; lens < 2; ++lens) {
    CAPTURE(lens);
    const Errors errors = errors_of(pair, found, lens);
    CAPTURE(errors.quantile(0.5), errors.quantile(0.95), errors.share_above(1));
    CHECK(errors.quantile(0.5) < 0.15);
    CHECK(errors.quantile(0.95) < 1);
    CHECK(errors.share_above(1) < 0.04);
    CHECK(errors.among_hidden < 0.1);
  }
}

// Depth as seen from the middle of the pupils.
ViewpointDepth common_view(const RibbonDepth& depth) {
  return depth_from(0, depth.of_a, depth.of_b, depth.grid, depth.gap_inverse_m);
}

}  // namespace

TEST_CASE("depth of walls and of boards before them", "[ribbon_depth]") {
  CAPTURE(seed());
  const RibbonDepth found = depth_of(plain_pair(), plain_pair().grid);
  check_accuracy(plain_pair(), found);
}

TEST_CASE("exposure and colour do not matter", "[ribbon_depth]") {
  CAPTURE(seed());
  const double ev = GENERATE(-2.0, 2.0);
  CAPTURE(ev);
  const Pair pair = photographed({}, {.ev = ev, .red = 1.4, .blue = 0.6, .stream = 6});
  check_accuracy(pair, depth_of(pair, pair.grid));
}

TEST_CASE("a closed ribbon does not know where its raster begins", "[ribbon_depth]") {
  CAPTURE(seed());
  const Pair& pair = plain_pair();
  REQUIRE(pair.grid.closed);
  const int turn = pair.grid.width_px / 2;
  RibbonGrid turned = pair.grid;
  turned.psi_begin_rad += turn / turned.px_per_rad;
  const RibbonDepth one = depth_of(pair, pair.grid);
  const RibbonDepth other = depth_of(pair, turned);
  const Image one_common = common_view(one).inverse_m;
  const Image other_common = common_view(other).inverse_m;
  int differing = 0;
  int checked = 0;
  for (int y = 0; y < pair.grid.height_px; ++y) {
    const auto here = one_common.row<float>(y);
    const auto there = other_common.row<float>(y);
    for (int x = 0; x < pair.grid.width_px; ++x) {
      const auto from = static_cast<std::size_t>((x + turn) % pair.grid.width_px);
      const float off = std::abs(here[from] - there[static_cast<std::size_t>(x)]);
      if (off * static_cast<float>(one.px_per_inverse_m) > 0.5F) ++differing;
      ++checked;
    }
  }
  // The two strips are a rounding error apart: of depths that are all but equally good, the other
  // may win.
  CHECK(differing < checked / 500);
}

TEST_CASE("a coarser match tells where to look", "[ribbon_depth]") {
  CAPTURE(seed());
  const Pair& pair = plain_pair();
  const RibbonDepthOptions options{.nearest_m = 0.15, .step_px = 0.25, .window_px = 21};
  RibbonDepthOptions everywhere = options;
  everywhere.coarse_first = false;
  const RibbonDepth found = depth_of(pair, pair.grid, options);
  const RibbonDepth all = depth_of(pair, pair.grid, everywhere);
  // It is no worse against the truth, and all but the same. Yet not quite: else all was tried.
  for (int lens = 0; lens < 2; ++lens) {
    CAPTURE(lens);
    const Errors few = errors_of(pair, found, lens);
    const Errors many = errors_of(pair, all, lens);
    CAPTURE(few.quantile(0.5), many.quantile(0.5), few.share_above(1), many.share_above(1));
    CHECK(few.quantile(0.5) < 1.02 * many.quantile(0.5));
    CHECK(few.share_above(1) < many.share_above(1) + 0.005);
  }
  int differing = 0;
  int checked = 0;
  for (int y = 0; y < found.grid.height_px; ++y) {
    const auto few = found.of_a.inverse_m.row<float>(y);
    const auto many = all.of_a.inverse_m.row<float>(y);
    for (std::size_t x = 0; x < few.size(); ++x) {
      if (std::abs(few[x] - many[x]) * static_cast<float>(found.px_per_inverse_m) > 0.5F) {
        ++differing;
      }
      ++checked;
    }
  }
  CAPTURE(differing, checked);
  CHECK(differing > 0);
  CHECK(differing < checked / 50);
}

TEST_CASE("the same bytes with any number of threads", "[ribbon_depth]") {
  const Pair& pair = plain_pair();
  const auto found = [&](int threads) {
    const ThreadLimit limit(threads);
    return depth_of(pair, pair.grid);
  };
  const RibbonDepth one = found(1);
  const RibbonDepth many = found(5);
  CHECK(std::ranges::equal(one.of_a.inverse_m.bytes(), many.of_a.inverse_m.bytes()));
  CHECK(std::ranges::equal(one.of_b.confidence.bytes(), many.of_b.confidence.bytes()));
  CHECK(std::ranges::equal(one.of_b.visibility.bytes(), many.of_b.visibility.bytes()));
  const ViewpointDepth one_common = common_view(one);
  const ViewpointDepth many_common = common_view(many);
  CHECK(std::ranges::equal(one_common.inverse_m.bytes(), many_common.inverse_m.bytes()));
  CHECK(std::ranges::equal(one_common.seen_by.bytes(), many_common.seen_by.bytes()));
}

TEST_CASE("a ribbon too large for memory is matched in a coarser raster", "[ribbon_depth]") {
  CAPTURE(seed());
  const Pair& pair = plain_pair();
  const RibbonDepth found = depth_of(pair, pair.grid, {.most_cells = 3e5});
  CHECK(found.grid.width_px < pair.grid.width_px);
  CHECK(found.grid.width_px / found.grid.px_per_rad == Approx(2 * kPi));
  CHECK(found.grid.height_px / found.grid.px_per_rad >=
        Approx(pair.grid.height_px / pair.grid.px_per_rad));
  CHECK(errors_of(pair, found, 0).quantile(0.5) < 0.3);
}

TEST_CASE("anchors say how far it is where the picture does not", "[ribbon_depth]") {
  CAPTURE(seed());
  const Rig rig = random_rig(33, rig_options());
  const RibbonGrid grid =
      overlap_of(rig, 0, 1, rig.lenses[0].lens.terms[kFocal], rad_from_deg(0.5))->grid;
  std::vector<Image> frames;
  for (const MountedLens& lens : rig.lenses) {
    frames.emplace_back(lens.lens.width_px, lens.lens.height_px, Channels::grey, SampleType::f32);
    for (int y = 0; y < lens.lens.height_px; ++y) {
      std::ranges::fill(frames.back().row<float>(y), 0.5F);
    }
  }
  const auto views = views_of(frames, rig);
  REQUIRE(views);
  const double inverse = 1.5;
  const Vec2 at(100.5, 0.5 * grid.height_px);
  const DepthAnchor anchor{grid.direction(at), inverse};
  // Few labels, all of which are tried, or many, of which a coarser match chooses.
  const bool many = GENERATE(false, true);
  CAPTURE(many);
  RibbonDepthOptions options;
  if (many) options = {.nearest_m = 0.15, .step_px = 0.25, .window_px = 21};
  const auto depth_at = [&](std::span<const DepthAnchor> anchors) {
    const auto found = ribbon_depth((*views)[0], (*views)[1], grid, true, options, anchors);
    REQUIRE(found);
    const int y = static_cast<int>(at.y());
    return std::abs(common_view(*found).inverse_m.row<float>(y)[100] - inverse) *
           found->px_per_inverse_m;
  };
  CHECK(depth_at({}) > 1);
  CHECK(depth_at(std::span(&anchor, 1)) < 0.8);
}

TEST_CASE("what cannot be measured is refused", "[ribbon_depth]") {
  const Pair& pair = plain_pair();
  const auto refused = [&](const RibbonDepthOptions& options) {
    return !ribbon_depth(pair.views[0], pair.views[1], pair.grid, true, options).has_value();
  };
  CHECK(refused({.nearest_m = 0}));
  CHECK(refused({.nearest_m = 0.01}));  // between the pupils
  CHECK(refused({.step_px = 0.1}));
  CHECK(refused({.agree_px = 0}));
  CHECK(refused({.window_px = 20}));
  CHECK(refused({.anchor_reach_px = -1}));
  CHECK(refused({.least_island_px = -1}));
  CHECK(refused({.most_cells = 10}));
  CHECK(refused({.smoothness = {.small_step = 20, .large_step = 10}}));

  std::vector<LensView> together = pair.views;
  together[1].mounted.pupil = together[0].mounted.pupil;
  const auto found = ribbon_depth(together[0], together[1], pair.grid, true);
  REQUIRE_FALSE(found);
  CHECK(found.error().field == "pupils");
}
