#include "compose/seams/seam_residual.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "tests/seams/ribbon_views.h"

using namespace seamwright;

namespace {

constexpr int kResidualWidth = 480;
constexpr int kResidualHeight = 80;

SeamPath middle(int width = kResidualWidth) {
  return {.closed = true,
          .row_px = std::vector<float>(static_cast<std::size_t>(width), 0.5F * kResidualHeight)};
}

// Lens b draws everything this much farther right and lower, darker and warmer.
SeamViews misfitting(const test::Wall& wall, double sideways_px, double parallax_px) {
  SeamViews views = test::ribbon_views(kResidualWidth, kResidualHeight, true, wall);
  views.light_b =
      test::ribbon_views(kResidualWidth, kResidualHeight, true, [&](double x, double y) {
        return wall(x - sideways_px / kResidualWidth, y - parallax_px / kResidualHeight);
      }).light_b;
  test::expose(views.light_b, {0.7, 0.6, 0.5});
  return views;
}

SeamResidual found_in(const SeamViews& views, const SeamResidualOptions& options = {}) {
  auto found = seam_residual(views, middle(), options);
  if (!found) FAIL(found.error().line());
  return std::move(*found);
}

}  // namespace

TEST_CASE("The shift that is left is found to a fraction of a pixel", "[seam_residual]") {
  const auto& [sideways, parallax] =
      GENERATE(table<double, double>({{0, 0}, {0.4, -1.7}, {-1.3, 2.6}, {2.2, 5.5}, {-2, -6}}));
  CAPTURE(sideways, parallax);
  const SeamResidual found = found_in(misfitting(test::wavy, sideways, parallax));
  CHECK(found.places == 20);
  REQUIRE(found.patches.size() == 20);
  for (const SeamPatch& patch : found.patches) {
    CAPTURE(patch.middle_px.x());
    CHECK(std::abs(patch.sideways_px - sideways) < 0.25);
    CHECK(std::abs(patch.parallax_px - parallax) < 0.25);
    CHECK(patch.likeness > 0.95);
    CHECK(patch.likeness >= patch.as_it_lies);
    CHECK(patch.shows_px <= patch.px() + 0.3);
    CHECK(patch.shows_px >= std::hypot(sideways, parallax) - 0.8);
  }
}

TEST_CASE("Plain walls and what one lens does not show tell nothing", "[seam_residual]") {
  CHECK(found_in(misfitting(test::plain, 0, 3)).patches.empty());
  SeamViews views = misfitting(test::wavy, 0, 0);
  test::mark(views.state_b, 100, 260, 0, kResidualHeight, static_cast<int>(ViewState::hidden));
  const SeamResidual found = found_in(views);
  CHECK(found.patches.size() < 18);
  for (const SeamPatch& patch : found.patches) {
    CHECK((patch.middle_px.x() < 110 || patch.middle_px.x() > 250));
  }
}

TEST_CASE("Different things are not alike under any shift", "[seam_residual]") {
  SeamViews views = misfitting(test::wavy, 0, 0);
  views.light_b = test::ribbon_views(kResidualWidth, kResidualHeight, true, [](double x, double y) {
                    return test::wavy(1.37 * (y + 0.2), 0.61 * x);
                  }).light_b;
  int unlike = 0;
  const SeamResidual found = found_in(views);
  for (const SeamPatch& patch : found.patches) unlike += patch.likeness < 0.6 ? 1 : 0;
  CHECK(found.patches.size() > 10);
  CHECK(4 * unlike > 3 * static_cast<int>(found.patches.size()));
}

TEST_CASE("A repeated pattern is not taken for a shift", "[seam_residual]") {
  const auto fence = [](double x, double y) {
    const double light = 0.4 + 0.2 * std::sin(2 * kPi * kResidualHeight * y / 5) +
                         0.1 * std::sin(2 * kPi * kResidualWidth * x / 6) +
                         0.02 * std::sin(9 * kPi * x);
    return test::Light{light, light, light};
  };
  for (const SeamPatch& patch : found_in(misfitting(fence, 0, 0.5)).patches) {
    CHECK(std::abs(patch.parallax_px - 0.5) < 0.25);
    CHECK(std::abs(patch.sideways_px) < 0.25);
  }
}

TEST_CASE("A shift along an edge does not show", "[seam_residual]") {
  const auto stripes = [](double, double y) {
    const double light = 0.4 + 0.3 * std::sin(2 * kPi * kResidualHeight * y / 17);
    return test::Light{light, light, light};
  };
  SeamViews views = misfitting(stripes, 0, 2);
  for (int y = 0; y < kResidualHeight; ++y) {
    for (int x = 0; x < kResidualWidth; ++x) {  // a trace of texture that pulls sideways
      const double trace = 1 + 0.004 * std::sin(0.4 * x) * std::cos(0.3 * y);
      const double moved = 1 + 0.004 * std::sin(0.4 * (x - 3)) * std::cos(0.3 * (y - 2));
      for (int c = 0; c < 3; ++c) {
        const auto i = static_cast<std::size_t>(3 * x + c);
        views.light_a.row<float>(y)[i] *= static_cast<float>(trace);
        views.light_b.row<float>(y)[i] *= static_cast<float>(moved);
      }
    }
  }
  for (const SeamPatch& patch : found_in(views).patches) {
    CHECK(std::abs(patch.parallax_px - 2) < 0.25);
    CHECK(patch.shows_px < 2.3);
    CHECK(patch.shows_px > 1.2);
  }
}

TEST_CASE("Where the ribbon is cut open makes no difference", "[seam_residual]") {
  const SeamViews views = misfitting(test::wavy, 1, 1);
  const SeamResidual one = found_in(views);
  const SeamResidual other = found_in(test::rotated(views, 240));
  REQUIRE(one.patches.size() == other.patches.size());
  for (std::size_t i = 0; i < one.patches.size(); ++i) {
    const SeamPatch& turned = other.patches[(i + one.patches.size() / 2) % one.patches.size()];
    CHECK(turned.parallax_px == one.patches[i].parallax_px);
    CHECK(turned.likeness == one.patches[i].likeness);
  }
}

TEST_CASE("Nonsense is refused by name", "[seam_residual]") {
  const SeamViews views = misfitting(test::wavy, 0, 0);
  const auto narrow = seam_residual(views, middle(100));
  REQUIRE_FALSE(narrow);
  CHECK_THAT(narrow.error().line(), Catch::Contains("not as wide as the views"));
  const auto bad = seam_residual(views, middle(), {.patch_px = 2});
  REQUIRE_FALSE(bad);
  CHECK_THAT(bad.error().line(), Catch::Contains("patch_px"));
}
