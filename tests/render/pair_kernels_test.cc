#include "compose/render/pair_kernels.h"

#include <cmath>
#include <cstring>
#include <memory>
#include <vector>

#include <catch2/catch.hpp>

#include "compose/seams/band_blend.h"
#include "compose/seams/seam_path.h"
#include "tests/support/instruction_sets.h"
#include "tests/support/random.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

constexpr std::size_t kCount = 992;  // of a cell with a row less
constexpr RibbonShape kClosed{.width_px = 150, .height_px = 40, .closed = true};
constexpr RibbonShape kOpen{.width_px = 150, .height_px = 40, .closed = false};

std::vector<float> pair_noise(Random& random, std::size_t count, double low, double high) {
  std::vector<float> values(count);
  for (float& value : values) value = static_cast<float>(random.uniform(low, high));
  return values;
}

std::size_t pixels(const RibbonShape& shape) {
  return static_cast<std::size_t>(shape.width_px) * static_cast<std::size_t>(shape.height_px);
}

// Rasters of a ribbon, all noise.
struct Ribbon {
  RibbonShape shape;
  std::vector<float> raster;
  std::vector<float> seam_rows;
  BandBlend::Tones tones;

  Ribbon(Random& random, const RibbonShape& of_shape)
      : shape(of_shape),
        raster(pair_noise(random, pixels(shape), -1, 1)),
        seam_rows(pair_noise(random, static_cast<std::size_t>(shape.width_px), 15, 25)),
        tones(shape.width_px, shape.height_px) {
    const std::vector<float> all =
        pair_noise(random, BandBlend::Tones::kFloats * pixels(shape), 0, 1);
    std::copy(all.begin(), all.end(), tones.row(0));
  }
};

// Places about one near the ribbon's right end, up to some way above and below it.
void place_about_the_end(Random& random, PlaceRun& places) {
  places.anchor_column = 140;
  places.anchor_row = 18;
  places.count = kCount;
  for (std::size_t i = 0; i < kCount; ++i) {
    places.column[i] = static_cast<float>(random.uniform(-70, 70));
    places.row[i] = static_cast<float>(random.uniform(-30, 30));
  }
}

// What all kernels make of a ribbon at some places.
struct PairRun {
  CornerRun corners{};
  RunPlane values{};
  RunPlane strength{};
  RunPlane shares{};
  RunTones tones{};
  RunTones weaker{};
  SourceRun moved{};
  RunRange range{};

  bool operator==(const PairRun& other) const {
    return std::memcmp(&corners, &other.corners, sizeof corners) == 0 &&
           std::memcmp(&values, &other.values, sizeof values) == 0 &&
           std::memcmp(&strength, &other.strength, sizeof strength) == 0 &&
           std::memcmp(&shares, &other.shares, sizeof shares) == 0 &&
           std::memcmp(&tones, &other.tones, sizeof tones) == 0 &&
           std::memcmp(&weaker, &other.weaker, sizeof weaker) == 0 &&
           std::memcmp(&moved, &other.moved, sizeof moved) == 0 &&
           range.least == other.range.least && range.most == other.range.most;
  }
};

std::unique_ptr<PairRun> everything(const Ribbon& ribbon, const PlaceRun& places) {
  auto all = std::make_unique<PairRun>();
  const int width = ribbon.shape.width_px;
  find_corners(places, ribbon.shape, all->corners);
  read_raster(ribbon.raster.data(), width, all->corners, all->values);
  read_columns(ribbon.seam_rows.data(), all->corners, all->shares);
  share_along_seam(all->shares, places, 2, all->shares);
  for (std::size_t i = 0; i < kCount; ++i) all->strength[i] = std::abs(all->values[i]);
  read_tones(ribbon.tones.row(0), width, all->corners, nullptr, all->tones);
  read_tones(ribbon.tones.row(0), width, all->corners, &all->strength, all->weaker);
  all->range = range_of(all->values, kCount);
  const RunPlane& x = places.column;
  const RunPlane& y = places.row;
  move_positions({.least = all->range.least,
                  .per_step = 3,
                  .position = {x.data(), y.data(), y.data(), x.data(), x.data(), x.data()}},
                 all->values, kCount, all->moved);
  return all;
}

std::unique_ptr<PairRun> pair_run_with(std::int64_t targets, const Ribbon& ribbon,
                                       const PlaceRun& places) {
  const test::OnlyTargets only(targets);
  auto all = everything(ribbon, places);
  return all;
}

// Where a place of a run lies, as single places are given.
struct Single {
  double x_px;
  double row_px;

  Single(const PlaceRun& places, const RibbonShape& shape, std::size_t i)
      : x_px(places.anchor_column + static_cast<double>(places.column[i])),
        row_px(places.anchor_row + static_cast<double>(places.row[i])) {
    if (shape.closed && x_px < 0) x_px += shape.width_px;
    if (shape.closed && x_px >= shape.width_px) x_px -= shape.width_px;
    x_px = std::max(x_px, 0.0);
  }
};

}  // namespace

TEST_CASE("Every instruction set reads a ribbon alike, plain C++ among them") {
  CAPTURE(test::seed());
  Random random(41);
  auto places = std::make_unique<PlaceRun>();
  int compared = 0;
  for (const RibbonShape& shape : {kClosed, kOpen}) {
    const Ribbon ribbon(random, shape);
    place_about_the_end(random, *places);
    const auto plain = pair_run_with(HWY_EMU128, ribbon, *places);
    for (const std::int64_t target : {HWY_SSSE3, HWY_SSE4, HWY_AVX2, HWY_AVX3}) {
      if ((hwy::SupportedTargets() & target) == 0) continue;
      CHECK(*pair_run_with(target | HWY_EMU128, ribbon, *places) == *plain);
      ++compared;
    }
  }
  WARN(compared << " comparisons");
#if HWY_ARCH_X86
  CHECK(compared >= 2);  // every x86-64 processor has at least one of them
#endif
}

TEST_CASE(
    "A run reads what single places read, across a closed ribbon's end and beyond all others") {
  CAPTURE(test::seed());
  Random random(42);
  auto places = std::make_unique<PlaceRun>();
  // Single floats: places to 1e-5 px, and noise changes by up to 2 a pixel, the seam by 10 rows.
  constexpr double kClose = 1e-4;
  constexpr double kCloseShare = 2e-4;
  for (const RibbonShape& shape : {kClosed, kOpen}) {
    CAPTURE(shape.closed);
    const Ribbon ribbon(random, shape);
    const BandBlend blend(shape.closed, ribbon.tones, ribbon.tones);
    const SeamPath path{.closed = shape.closed, .row_px = ribbon.seam_rows};
    place_about_the_end(random, *places);
    const auto all = everything(ribbon, *places);
    double worst = 0;
    double worst_share = 0;
    double worst_tone = 0;
    for (std::size_t i = 0; i < kCount; ++i) {
      const Single at(*places, shape, i);
      const RibbonCorners corners(at.x_px, at.row_px, shape.width_px, shape.height_px,
                                  shape.closed);
      const auto width = static_cast<std::size_t>(shape.width_px);
      const float value =
          corners.mean([&](std::size_t y, std::size_t x) { return ribbon.raster[y * width + x]; });
      worst = std::max(worst, std::abs(static_cast<double>(all->values[i] - value)));
      worst_share = std::max(worst_share, std::abs(static_cast<double>(all->shares[i]) -
                                                   path.share_a(at.x_px, at.row_px, 2)));
      const LensTone tone = blend.tone_a(at.x_px, at.row_px);
      const float strength = all->strength[i];
      for (std::size_t c = 0; c < 3; ++c) {
        const std::size_t k = RunTones::kFloats * i + c;
        const float weaker_gain = 1 + strength * (tone.gain[c] - 1);
        for (const float miss :
             {all->tones.gain[k] - tone.gain[c], all->tones.add[k] - tone.add[c],
              all->weaker.gain[k] - weaker_gain, all->weaker.add[k] - strength * tone.add[c]}) {
          worst_tone = std::max(worst_tone, std::abs(static_cast<double>(miss)));
        }
      }
    }
    CHECK(worst < kClose);
    CHECK(worst_tone < kClose);
    CHECK(worst_share < kCloseShare);
  }
}

TEST_CASE("A run's outermost corners and values are told") {
  Random random(43);
  const Ribbon ribbon(random, kClosed);
  auto places = std::make_unique<PlaceRun>();
  place_about_the_end(random, *places);
  places->column[17] = -100.25F;
  places->column[18] = 90.75F;
  places->row[19] = -40.25F;
  places->row[kCount - 1] = 50.75F;
  const auto all = everything(ribbon, *places);
  CHECK(all->corners.first_column == 140 - 101);
  CHECK(all->corners.last_column == 140 + 91);
  CHECK(all->corners.first_row == 18 - 41);
  CHECK(all->corners.last_row == 18 + 51);
  const auto end = all->values.begin() + kCount;
  CHECK(all->range.least == *std::min_element(all->values.begin(), end));
  CHECK(all->range.most == *std::max_element(all->values.begin(), end));
}

TEST_CASE("Positions move by the quadratic through three shifts") {
  // Positions (s, s²) of s = shift / step, offset by the position's own number.
  auto planes = std::make_unique<std::array<RunPlane, 6>>();
  auto shifts = std::make_unique<RunPlane>();
  auto run = std::make_unique<SourceRun>();
  constexpr std::size_t kFew = 64;
  constexpr float kLeast = -0.25F;
  constexpr float kStep = 0.5F;
  for (std::size_t i = 0; i < kFew; ++i) {
    const auto offset = static_cast<float>(i);
    for (std::size_t k = 0; k < 3; ++k) {
      const auto s = static_cast<float>(k);
      (*planes)[2 * k][i] = offset + s;
      (*planes)[2 * k + 1][i] = offset + s * s;
    }
    (*shifts)[i] = kLeast + kStep * offset / 32;
  }
  move_positions({.least = kLeast,
                  .per_step = 1 / kStep,
                  .position = {(*planes)[0].data(), (*planes)[1].data(), (*planes)[2].data(),
                               (*planes)[3].data(), (*planes)[4].data(), (*planes)[5].data()}},
                 *shifts, kFew, *run);
  for (std::size_t i = 0; i < kFew; ++i) {
    const auto offset = static_cast<float>(i);
    const float s = offset / 32;
    CHECK(run->x[i] == Approx(offset + s).margin(1e-5));
    CHECK(run->y[i] == Approx(offset + s * s).margin(1e-5));
  }
}
