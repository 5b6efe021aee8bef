#include "compose/seams/seam_path.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "tests/seams/ribbon_views.h"

namespace seamwright {

namespace {

using test::mark;
using test::paint;
using test::ribbon_views;

constexpr int kPathWidth = 256;
constexpr int kPathHeight = 64;
constexpr test::Light kCoat = {0.05, 0.03, 0.3};

SeamPath found(const SeamViews& views, const SeamPathOptions& options = {}) {
  const auto seam = seam_path(views, options);
  REQUIRE(seam);
  REQUIRE(seam->row_px.size() == static_cast<std::size_t>(views.light_a.width()));
  return *seam;
}

// Largest step between neighbours, the wrap included.
double largest_step(const SeamPath& seam) {
  double most = 0;
  for (std::size_t x = 0; x < seam.row_px.size(); ++x) {
    if (x + 1 == seam.row_px.size() && !seam.closed) break;
    const float next = seam.row_px[(x + 1) % seam.row_px.size()];
    most = std::max(most, 1.0 * std::abs(next - seam.row_px[x]));
  }
  return most;
}

// Of a person painted into lens a's view at these places: pixels that the seam gives to lens a.
int person_from_a(const SeamPath& seam, int left, int right, int top, int bottom) {
  int count = 0;
  for (int x = left; x < right; ++x) {
    for (int y = top; y < bottom; ++y) {
      count += seam.share_a(x % kPathWidth + 0.5, y + 0.5, 2) > 0.5 ? 1 : 0;
    }
  }
  return count;
}

}  // namespace

TEST_CASE("Views that agree are joined by a level line in the middle") {
  for (const bool closed : {false, true}) {
    const SeamPath seam = found(ribbon_views(kPathWidth, kPathHeight, closed));
    for (const float row : seam.row_px) CHECK(row == Approx(kPathHeight / 2.0).margin(0.01));
    CHECK(seam.subjects.empty());
  }
}

TEST_CASE("Exposure and colour alone do not move the seam") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  test::expose(views.light_b, {1.4, 1.3, 1.55});
  const SeamPath seam = found(views);
  for (const float row : seam.row_px) CHECK(row == Approx(kPathHeight / 2.0).margin(1.5));
  CHECK(seam.subjects.empty());
}

TEST_CASE("The seam passes where the views agree, and not through what differs") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  // Not enough for a subject: nothing but the disagreement itself speaks against passing there.
  SeamPathOptions options;
  options.subjects.least_px = 500;
  for (const int left : {40, 120, 200}) paint(views.light_a, left, left + 6, 24, 40, kCoat);
  const SeamPath seam = found(views, options);
  CHECK(seam.subjects.empty());
  for (const int left : {40, 120, 200}) {
    for (int x = left; x < left + 6; ++x) {
      const float row = seam.row_px[static_cast<std::size_t>(x)];
      CAPTURE(x, row);
      CHECK((row <= 24.5F || row >= 39.5F));
    }
  }
}

TEST_CASE("A closed seam meets itself and keeps to the slope, and turns with the ribbon") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  // Something in the way across the raster's ends: the seam has to be off the middle there.
  paint(views.light_a, 240, 275, 24, 44, kCoat);
  const SeamPath seam = found(views);
  CHECK(largest_step(seam) <= 2.0);
  REQUIRE(seam.subjects.size() == 1);
  CHECK(seam.subjects[0].taken != TakenFrom::both);

  const SeamPath turned = found(test::rotated(views, 100));
  CHECK(turned.cost == seam.cost);
  for (std::size_t x = 0; x < seam.row_px.size(); ++x) {
    CHECK(turned.row_px[x] == Approx(seam.row_px[(x + 100) % kPathWidth]).margin(1e-3));
  }
}

TEST_CASE("The same seam with any number of threads") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  paint(views.light_a, 100, 130, 20, 50, kCoat);
  const SeamPath all = found(views);
  const ThreadLimit one(1);
  CHECK(found(views).row_px == all.row_px);
}

TEST_CASE("A forbidden region is passed by, a wall of it is told") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  views.wish = Image(kPathWidth, kPathHeight, Channels::grey, SampleType::u8);
  mark(views.wish, 60, 110, 20, 50, static_cast<int>(SeamWish::forbidden));
  const SeamPath round = found(views);
  CHECK(round.forbidden_columns == 0);
  for (int x = 60; x < 110; ++x) {
    const float row = round.row_px[static_cast<std::size_t>(x)];
    CHECK((row <= 20.5F || row >= 49.5F));
  }
  mark(views.wish, 200, 203, 0, kPathHeight, static_cast<int>(SeamWish::forbidden));
  CHECK(found(views).forbidden_columns == 3);
}

TEST_CASE("The seam takes a preferred way, and the lens that is asked for") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  test::expose(views.light_b, {1, 1, 1});
  views.dearness = Image(kPathWidth, kPathHeight, Channels::grey, SampleType::f32);
  for (int y = 0; y < kPathHeight; ++y) {
    for (float& dear : views.dearness.row<float>(y)) dear = 0.3F;
  }
  views.wish = Image(kPathWidth, kPathHeight, Channels::grey, SampleType::u8);
  mark(views.wish, 60, 120, 40, 46, static_cast<int>(SeamWish::preferred));
  mark(views.wish, 180, 200, 30, 40, static_cast<int>(SeamWish::from_b));
  const SeamPath seam = found(views);
  for (int x = 80; x < 100; ++x) {
    const float row = seam.row_px[static_cast<std::size_t>(x)];
    CHECK((row >= 39.5F && row <= 46.5F));
  }
  for (int x = 180; x < 200; ++x) CHECK(seam.row_px[static_cast<std::size_t>(x)] <= 30.5F);
}

TEST_CASE("A person whom one lens sees is taken whole or not at all") {
  struct Case {
    int top, bottom;
    TakenFrom taken;
  };
  // In the middle either will do; at a border only the lens that goes on there has them whole.
  for (const Case& one : {Case{22, 44, TakenFrom::b}, Case{0, 40, TakenFrom::a},
                          Case{24, kPathHeight, TakenFrom::b}}) {
    SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
    paint(views.light_a, 250, 270, one.top, one.bottom, kCoat);
    const SeamPath seam = found(views);
    CAPTURE(one.top, one.bottom);
    REQUIRE(seam.subjects.size() == 1);
    const int count = person_from_a(seam, 250, 270, one.top, one.bottom);
    const int whole = 20 * (one.bottom - one.top);
    CHECK((count == 0 || count == whole));
    const bool in_the_middle = one.top > 0 && one.bottom < kPathHeight;
    if (!in_the_middle) CHECK(seam.subjects[0].taken == one.taken);
    CHECK(seam.subjects[0].taken != TakenFrom::both);
    CHECK_FALSE(seam.subjects[0].spans_overlap());
  }
}

TEST_CASE("A person who stands at two places is not there twice") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  paint(views.light_a, 100, 120, 12, 30, kCoat);  // where lens a saw them, and …
  paint(views.light_b, 104, 124, 36, 54, kCoat);  // … lens b
  const SeamPath seam = found(views);
  REQUIRE(seam.subjects.size() == 1);
  CHECK(seam.subjects[0].taken != TakenFrom::both);
  const int from_a = person_from_a(seam, 100, 120, 12, 30);
  const int of_b = 20 * 18 - person_from_a(seam, 104, 124, 36, 54);
  CHECK((from_a == 0 || from_a == 20 * 18));
  CHECK(from_a + of_b == 20 * 18);
}

TEST_CASE("What spans the overlap is said") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  paint(views.light_a, 100, 120, 0, kPathHeight, kCoat);
  const SeamPath seam = found(views);
  REQUIRE(seam.subjects.size() == 1);
  CHECK(seam.subjects[0].spans_overlap());
  CHECK(seam.subjects[0].taken == TakenFrom::both);
}

TEST_CASE("A large thing that moved a little, and covers itself in between, is taken whole") {
  // Both lenses show a tall even thing, lens b twenty rows lower: in between they agree.
  SeamViews views = ribbon_views(kPathWidth, 160, true);
  paint(views.light_a, 100, 190, 40, 95, {0.9, 0.2, 0.2});
  paint(views.light_b, 100, 190, 60, 115, {0.9, 0.2, 0.2});
  const SeamPath seam = found(views);
  REQUIRE(seam.subjects.size() == 1);
  CHECK(seam.subjects[0].top <= 40);
  CHECK(seam.subjects[0].bottom >= 115);
  CHECK(seam.subjects[0].taken != TakenFrom::both);
  for (int x = 100; x < 190; ++x) {
    const float row = seam.row_px[static_cast<std::size_t>(x)];
    CAPTURE(x, row);
    CHECK((row <= 40.5F || row >= 114.5F));
  }
}

TEST_CASE("The seam goes round depth edges, hidden pixels and a one-sided blow-out") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  views.gap_inverse_m = 0.1;
  views.inverse_m = Image(kPathWidth, kPathHeight, Channels::grey, SampleType::f32);
  for (int y = 31; y < kPathHeight; ++y) {
    for (float& inverse : views.inverse_m.row<float>(y)) inverse = 1;
  }
  mark(views.state_a, 100, 130, 25, 40, static_cast<int>(ViewState::hidden));
  mark(views.state_b, 200, 220, 26, 36, static_cast<int>(ViewState::clipped));
  const SeamPath seam = found(views);
  for (int x = 0; x < kPathWidth; ++x) {
    const float row = seam.row_px[static_cast<std::size_t>(x)];
    CHECK(std::abs(row - 31) >= 1.5);
    // What lens a does not see comes from b: the seam is above it.
    if (x >= 100 && x < 130) CHECK(row <= 25.5F);
    if (x >= 200 && x < 220) CHECK((row <= 26.5F || row >= 35.5F));
  }
}

TEST_CASE("The seam stays where both lenses look") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, false);
  // The overlap of two round fields, narrow at the ends and nothing beyond.
  for (int x = 0; x < kPathWidth; ++x) {
    const double off = (x + 0.5 - kPathWidth / 2.0) / (kPathWidth / 2.0);
    const int half = static_cast<int>(30 * std::sqrt(1 - off * off));
    const int middle = 32 + static_cast<int>(8 * off);
    mark(views.state_b, x, x + 1, 0, std::max(0, middle - half),
         static_cast<int>(ViewState::outside));
    mark(views.state_a, x, x + 1, std::min(kPathHeight, middle + half), kPathHeight,
         static_cast<int>(ViewState::outside));
  }
  const SeamPath seam = found(views);
  CHECK(largest_step(seam) <= 2.0);
  for (int x = 0; x < kPathWidth; ++x) {
    const SeamRoom room = seam_room(views, x);
    const float row = seam.row_px[static_cast<std::size_t>(x)];
    CAPTURE(x, row, room.top, room.bottom);
    CHECK(row >= static_cast<float>(room.top) - 1.0F);
    CHECK(row <= static_cast<float>(room.bottom) + 1.0F);
  }
}

TEST_CASE("Rasters that do not fit and prices out of range are named") {
  SeamViews views = ribbon_views(kPathWidth, kPathHeight, true);
  views.confidence = Image(kPathWidth, kPathHeight + 1, Channels::grey, SampleType::f32);
  const auto misfit = seam_path(views);
  REQUIRE_FALSE(misfit);
  CHECK(misfit.error().field == "seam views confidence");
  const auto dear = seam_path(ribbon_views(kPathWidth, kPathHeight, true), {.most_step = 0});
  REQUIRE_FALSE(dear);
  CHECK(dear.error().field == "seam most_step");
}

}  // namespace seamwright
