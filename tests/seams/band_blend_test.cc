#include "compose/seams/band_blend.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "imaging/delta_e2000.h"
#include "projection/conventions.h"
#include "tests/seams/ribbon_views.h"

namespace seamwright {

namespace {

using test::Light;
using test::mark;
using test::paint;
using test::ribbon_views;

constexpr int kWidth = 256;
constexpr int kHeight = 64;

SeamPath seam_of(const SeamViews& views) {
  auto seam = seam_path(views);
  REQUIRE(seam);
  return *seam;
}

BandBlend blend_of(const SeamViews& views, const SeamPath& seam,
                   const BandBlendOptions& options = {}) {
  auto blend = band_blend(views, seam, options);
  REQUIRE(blend);
  return *blend;
}

Light light_at(const Image& light, int x, int y) {
  const auto row = light.row<float>(y);
  const auto i = 3 * static_cast<std::size_t>(x);
  return {row[i], row[i + 1], row[i + 2]};
}

Light toned(const Light& light, const LensTone& tone) {
  Light result{};
  for (std::size_t c = 0; c < 3; ++c) {
    result[c] = light[c] * static_cast<double>(tone.gain[c]) + static_cast<double>(tone.add[c]);
  }
  return result;
}

Light mixed(const Light& a, const Light& b, double share_a) {
  Light result{};
  for (std::size_t c = 0; c < 3; ++c) result[c] = share_a * a[c] + (1 - share_a) * b[c];
  return result;
}

// The blended picture at the raster of the views, `scale` times as fine as the blend's.
Light blended(const SeamViews& views, const SeamPath& seam, const BandBlend& blend, int x, int y,
              double scale = 1) {
  const double at_x = (x + 0.5) / scale;
  const double at_y = (y + 0.5) / scale;
  return mixed(toned(light_at(views.light_a, x, y), blend.tone_a(at_x, at_y)),
               toned(light_at(views.light_b, x, y), blend.tone_b(at_x, at_y)),
               seam.share_a(at_x, at_y, 2 / scale));
}

double difference(const Light& first, const Light& second) {
  return delta_e2000(lab_from_linear_srgb(first), lab_from_linear_srgb(second));
}

// One column, top to bottom, in one channel.
std::vector<double> column(const SeamViews& views, const SeamPath& seam, const BandBlend& blend,
                           int x, std::size_t channel) {
  std::vector<double> values;
  for (int y = 0; y < views.light_a.height(); ++y) {
    values.push_back(blended(views, seam, blend, x, y)[channel]);
  }
  return values;
}

// D smoothed by a Gaussian with replaced borders, as one would write it down: full sums.
std::vector<double> smooth_difference(const std::vector<double>& d, int width, int height,
                                      double sigma) {
  const int reach = static_cast<int>(std::ceil(3 * sigma));
  std::vector<double> result(d.size());
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) {
      double sum = 0;
      double weight = 0;
      for (int j = std::max(-reach, -y); j <= std::min(reach, height - 1 - y); ++j) {
        for (int i = -reach; i <= reach; ++i) {
          const double tap = std::exp(-0.5 * (i * i + j * j) / (sigma * sigma));
          sum += tap * d[static_cast<std::size_t>((y + j) * width + (x + i + width) % width)];
          weight += tap;
        }
      }
      result[static_cast<std::size_t>(y * width + x)] = sum / weight;
    }
  }
  return result;
}

double quintic(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * t * (10 + t * (6 * t - 15));
}

}  // namespace

TEST_CASE("Views that agree are left alone") {
  const SeamViews views = ribbon_views(kWidth, kHeight, true);
  const SeamPath seam = seam_of(views);
  const BandBlend blend = blend_of(views, seam);
  for (const LensTone& tone : {blend.tone_a(10.3, 31.7), blend.tone_b(200.9, 20.2)}) {
    for (std::size_t c = 0; c < 3; ++c) {
      CHECK(tone.gain[c] == Approx(1).margin(1e-6));
      CHECK(tone.add[c] == 0.0F);
    }
  }
}

TEST_CASE("A lens is itself from its border of the overlap on") {
  SeamViews views = ribbon_views(kWidth, kHeight, true);
  test::expose(views.light_b, {1.4, 1.3, 1.6});
  mark(views.state_b, 0, kWidth, 0, 9, static_cast<int>(ViewState::outside));
  mark(views.state_a, 0, kWidth, 55, kHeight, static_cast<int>(ViewState::outside));
  const SeamPath seam = seam_of(views);
  const BandBlend blend = blend_of(views, seam);
  double moved = 0;
  for (double x = 0; x < kWidth; x += 3.7) {
    for (const double past : {0.5, 3.0, 100.0}) {
      const LensTone a = blend.tone_a(x, 9 - past);
      const LensTone b = blend.tone_b(x, 55 + past);
      for (std::size_t c = 0; c < 3; ++c) {
        CHECK((a.gain[c] == 1.0F && a.add[c] == 0.0F));
        CHECK((b.gain[c] == 1.0F && b.add[c] == 0.0F));
      }
    }
    moved = std::max(moved, std::abs(blend.tone_a(x, 32).gain[0] - 1.0));
  }
  CHECK(moved > 0.1);
}

TEST_CASE("A step of exposure becomes a monotone transition without overshoot") {
  for (const bool gain_field : {false, true}) {
    SeamViews views = ribbon_views(kWidth, kHeight, true, test::plain);
    test::expose(views.light_b, {std::exp2(0.5), std::exp2(0.5), std::exp2(0.5)});
    const SeamPath seam = seam_of(views);
    const BandBlend blend = blend_of(views, seam, {.gain_field = gain_field});
    for (const int x : {0, 77, kWidth - 1}) {
      const std::vector<double> light = column(views, seam, blend, x, 1);
      CHECK(light.front() == Approx(0.4).epsilon(1e-5));
      CHECK(light.back() == Approx(0.4 * std::exp2(0.5)).epsilon(1e-5));
      double most = 0;
      for (std::size_t y = 1; y < light.size(); ++y) {
        CHECK(light[y] >= light[y - 1] - 1e-6);
        most = std::max(most, light[y] - light[y - 1]);
      }
      // The whole step is 0.166; spread over the ribbon's 64 rows no row takes more than a
      // quintic's steepest, 1.875 times the mean, and a little for the exponential.
      CHECK(most < 0.166 / 64 * 1.875 * 1.3);
    }
  }
}

TEST_CASE("Bands crossed on a reduced raster equal a direct blend of the full picture") {
  constexpr int kScale = 4;
  constexpr int kFullWidth = kScale * 128;
  constexpr int kFullHeight = kScale * 32;
  SeamViews full = ribbon_views(kFullWidth, kFullHeight, true);
  // Lens b: a veil of stray light that varies, and texture that is a little off.
  for (int y = 0; y < kFullHeight; ++y) {
    const auto row = full.light_b.row<float>(y);
    for (int x = 0; x < kFullWidth; ++x) {
      const double turn = 2 * kPi * (x + 0.5) / kFullWidth;
      const double veil = 0.04 * (1 + std::sin(4 * turn)) + 0.02 * std::cos(9 * turn + 0.07 * y);
      for (std::size_t c = 0; c < 3; ++c) {
        row[3 * static_cast<std::size_t>(x) + c] += static_cast<float>(veil);
      }
    }
  }
  SeamViews reduced = ribbon_views(kFullWidth / kScale, kFullHeight / kScale, true);
  for (Image SeamViews::*raster : {&SeamViews::light_a, &SeamViews::light_b}) {
    for (int y = 0; y < kFullHeight / kScale; ++y) {
      for (int x = 0; x < kFullWidth / kScale; ++x) {
        Light sum{};
        for (int k = 0; k < kScale * kScale; ++k) {
          const Light light =
              light_at(full.*raster, kScale * x + k % kScale, kScale * y + k / kScale);
          for (std::size_t c = 0; c < 3; ++c) sum[c] += light[c] / (kScale * kScale);
        }
        paint(reduced.*raster, x, x + 1, y, y + 1, sum);
      }
    }
  }
  SeamPath seam;
  seam.closed = true;
  for (int x = 0; x < kFullWidth / kScale; ++x) seam.row_px.push_back(15.0F);
  const BandBlend blend = blend_of(reduced, seam, {.finest_px = 1.5, .gain_field = false});

  // Directly: bands of σ 1.5, 3 and 6 reduced pixels… the coarsest must not exceed a sixth of the
  // height, 5.3: so 1.5 and 3. Each crosses over within 2.5 σ, the last within all there is.
  std::vector<double> d;
  for (int y = 0; y < kFullHeight; ++y) {
    for (int x = 0; x < kFullWidth; ++x) {
      d.push_back(light_at(full.light_a, x, y)[1] - light_at(full.light_b, x, y)[1]);
    }
  }
  const auto fine = smooth_difference(d, kFullWidth, kFullHeight, 1.5 * kScale);
  const auto coarse = smooth_difference(d, kFullWidth, kFullHeight, 3.0 * kScale);
  double most = 0;
  double sharp_off = 0;
  for (int y = 0; y < kFullHeight; ++y) {
    const double row = (y + 0.5) / kScale;
    const double off = 15 - row;
    const double room = off > 0 ? 15.0 - 1 : 31 - 15.0;  // the outermost rows are neutral
    const double in_coarse = quintic(0.5 * (1 + off / room));
    const double in_fine = quintic(0.5 * (1 + off / 3.75));
    const double sharp = seam.share_a(0.5, row, 2.0 / kScale);
    for (int x = 0; x < kFullWidth; ++x) {
      const auto i = static_cast<std::size_t>(y * kFullWidth + x);
      const double direct = light_at(full.light_b, x, y)[1] + sharp * (d[i] - fine[i]) +
                            in_fine * (fine[i] - coarse[i]) + in_coarse * coarse[i];
      most = std::max(most, std::abs(direct - blended(full, seam, blend, x, y, kScale)[1]));
      const double hard =
          mixed(light_at(full.light_a, x, y), light_at(full.light_b, x, y), sharp)[1];
      sharp_off = std::max(sharp_off, std::abs(direct - hard));
    }
  }
  // A mask that bends within 3.75 px is interpolated linearly between pixels: its second derivative
  // is at most 5.77 / (2 · 3.75)², an eighth of it times the band's 0.03 is 0.0004; the veil itself
  // and the cut Gaussian bring about as much.
  CHECK(most < 1.2e-3);
  CHECK(sharp_off > 0.03);
}

TEST_CASE("A blown window neither bleeds nor darkens") {
  // Lens a is blown where lens b still has light; beside it, an even wall seen alike.
  SeamViews views = ribbon_views(kWidth, kHeight, true, test::plain);
  paint(views.light_a, 100, 140, 10, 54, {1, 1, 1});
  paint(views.light_b, 100, 140, 10, 54, {0.7, 0.8, 0.98});
  mark(views.state_a, 100, 140, 10, 54, static_cast<int>(ViewState::clipped));
  SeamPath seam{.closed = true, .row_px = std::vector<float>(kWidth, 32.0F)};
  const BandBlend blend = blend_of(views, seam);
  double most = 0;
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) {
      if (x >= 100 && x < 140 && y >= 10 && y < 54) continue;
      most = std::max(most, difference(blended(views, seam, blend, x, y), test::plain(0, 0)));
    }
  }
  CHECK(most < 0.01);

  // Were it not known to be clipped, it would.
  mark(views.state_a, 100, 140, 10, 54, static_cast<int>(ViewState::good));
  const BandBlend bleeding = blend_of(views, seam);
  most = 0;
  for (int x = 90; x < 100; ++x) {
    const Light light = blended(views, seam, bleeding, x, 30);
    most = std::max(most, difference(light, test::plain(0, 0)));
  }
  CHECK(most > 1);
}

TEST_CASE("A person in one view leaves no halo") {
  SeamViews views = ribbon_views(kWidth, kHeight, true, test::plain);
  test::expose(views.light_b, {1.1, 1.1, 1.1});
  paint(views.light_a, 100, 120, 20, 50, {0.04, 0.03, 0.2});
  const SeamPath seam = seam_of(views);
  REQUIRE(seam.subjects.size() == 1);
  const BandBlend blend = blend_of(views, seam);
  SeamViews without = ribbon_views(kWidth, kHeight, true, test::plain);
  test::expose(without.light_b, {1.1, 1.1, 1.1});
  const BandBlend calm = blend_of(without, seam);
  double most = 0;
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 90; x < 130; ++x) {
      if (x >= 100 && x < 120 && y >= 20 && y < 50) continue;
      most = std::max(
          most, difference(blended(views, seam, blend, x, y), blended(without, seam, calm, x, y)));
    }
  }
  CHECK(most < 0.2);
}

TEST_CASE("A rotated ribbon gives exactly the rotated blend") {
  SeamViews views = ribbon_views(kWidth, kHeight, true);
  test::expose(views.light_b, {1.1, 1.05, 0.95});
  paint(views.light_b, 245, 262, 10, 30, {1, 1, 1});
  mark(views.state_b, 245, 262, 10, 30, static_cast<int>(ViewState::clipped));
  SeamPath seam;
  seam.closed = true;
  for (int x = 0; x < kWidth; ++x) {
    seam.row_px.push_back(static_cast<float>(32 + 8 * std::sin(2 * kPi * x / kWidth)));
  }
  constexpr int kBy = 90;
  const SeamViews turned = test::rotated(views, kBy);
  SeamPath turned_seam = seam;
  std::rotate(turned_seam.row_px.begin(), turned_seam.row_px.begin() + kBy,
              turned_seam.row_px.end());
  for (const bool gain_field : {false, true}) {
    const BandBlendOptions options{.gain_field = gain_field};
    const BandBlend blend = blend_of(views, seam, options);
    const BandBlend other = blend_of(turned, turned_seam, options);
    double most = 0;
    for (int y = 0; y < kHeight; ++y) {
      for (int x = 0; x < kWidth; ++x) {
        const int from = (x + kBy) % kWidth;
        for (const bool of_a : {true, false}) {
          const auto tone = [&](const BandBlend& one, int at) {
            return of_a ? one.tone_a(at + 0.5, y + 0.5) : one.tone_b(at + 0.5, y + 0.5);
          };
          const LensTone here = tone(other, x);
          const LensTone there = tone(blend, from);
          for (std::size_t c = 0; c < 3; ++c) {
            most = std::max({most, std::abs(1.0 * here.add[c] - there.add[c]),
                             std::abs(1.0 * here.gain[c] - there.gain[c])});
          }
        }
      }
    }
    // The gain field is a sum of harmonics fitted to blocks of four columns, which 90 does not
    // divide.
    if (gain_field) {
      CHECK(most < 2e-3);
    } else {
      CHECK(most == 0);
    }
  }
}

TEST_CASE("Across the seam on flat walls half a stop and a colour cast are not seen") {
  // Walls of several tones, in a ribbon 16° high at 345 px/rad.
  SeamViews views = ribbon_views(kWidth, 96, true, [](double x, double /*y*/) -> Light {
    const int wall = static_cast<int>(6 * x);
    constexpr Light kTones[] = {{0.7, 0.68, 0.62}, {0.3, 0.2, 0.12},   {0.12, 0.18, 0.3},
                                {0.5, 0.5, 0.5},   {0.05, 0.05, 0.05}, {0.6, 0.25, 0.2}};
    return kTones[wall];
  });
  test::expose(views.light_b, {1.08 * std::exp2(0.5), std::exp2(0.5), 0.93 * std::exp2(0.5)});
  const SeamPath seam = seam_of(views);
  const BandBlend blend = blend_of(views, seam);
  std::vector<double> sharp;
  std::vector<double> found;
  for (int x = 0; x < kWidth; ++x) {
    const int row = static_cast<int>(std::lround(seam.row_at(x + 0.5)));
    // The nearest pixels beyond the feather on either side.
    found.push_back(difference(blended(views, seam, blend, x, row - 2),
                               blended(views, seam, blend, x, row + 1)));
    sharp.push_back(
        difference(light_at(views.light_a, x, row - 2), light_at(views.light_b, x, row + 1)));
  }
  const auto median = [](std::vector<double> values) {
    std::sort(values.begin(), values.end());
    return values[values.size() / 2];
  };
  INFO("hard cut " << median(sharp) << ", blended " << median(found));
  CHECK(median(sharp) > 8);
  CHECK(median(found) <= 1);
}

TEST_CASE("The gain field does not over-correct") {
  SECTION("a step beyond its limit stops at the limit") {
    SeamViews views = ribbon_views(kWidth, kHeight, true);
    test::expose(views.light_b, {0.25, 0.25, 0.25});
    const GainField field = fit_gain_field(views, {});
    CHECK(field.ratio_ev(10, 10, 1) == Approx(0.75));
  }
  SECTION("without pixels to compare nothing is corrected") {
    SeamViews views = ribbon_views(kWidth, kHeight, true);
    test::expose(views.light_b, {0.7, 0.7, 0.7});
    mark(views.state_b, 0, kWidth, 0, kHeight, static_cast<int>(ViewState::clipped));
    CHECK(fit_gain_field(views, {}).empty());
  }
  SECTION("half a ring to compare does not swing the other half") {
    SeamViews views = ribbon_views(kWidth, kHeight, true);
    test::expose(views.light_b, {0.8, 0.8, 0.8});
    mark(views.state_b, 0, kWidth / 2, 0, kHeight, static_cast<int>(ViewState::clipped));
    const GainField field = fit_gain_field(views, {});
    for (int x = 0; x < kWidth; x += 8) {
      CHECK(field.ratio_ev(x, 32, 1) == Approx(-std::log2(0.8)).margin(0.02));
    }
  }
  SECTION("flare on one side is followed, a quarter of other things is not") {
    SeamViews views = ribbon_views(kWidth, kHeight, true);
    for (int x = 0; x < kWidth; ++x) {
      const double gain = std::exp2(0.2 * std::cos(2 * kPi * (x + 0.5) / kWidth));
      for (int y = 0; y < kHeight; ++y) {
        const Light light = light_at(views.light_a, x, y);
        paint(views.light_a, x, x + 1, y, y + 1, {gain * light[0], gain * light[1], light[2]});
      }
    }
    paint(views.light_b, 0, kWidth, 0, kHeight / 4, {0.9, 0.1, 0.1});
    const GainField field = fit_gain_field(views, {});
    for (int x = 0; x < kWidth; x += 8) {
      const double truth = 0.2 * std::cos(2 * kPi * x / kWidth);
      CHECK(field.ratio_ev(x, 40, 0) == Approx(truth).margin(0.03));
      CHECK(field.ratio_ev(x, 40, 2) == Approx(0).margin(0.03));
    }
    const GainRaster raster(field);
    for (int y = 0; y < kHeight; y += 7) {
      for (int x = 0; x < kWidth; x += 5) {
        for (const int c : {0, 1, 2}) {
          CHECK(raster.ratio_ev(x, y, static_cast<std::size_t>(c)) ==
                Approx(field.ratio_ev(x + 0.5, y + 0.5, c)).margin(1e-6));
        }
      }
    }
  }
}

TEST_CASE("A seam of another ribbon is refused") {
  const SeamViews views = ribbon_views(kWidth, kHeight, true);
  const SeamPath seam{.closed = true, .row_px = std::vector<float>(10, 3.0F)};
  const auto refused = band_blend(views, seam);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().field == "blend seam");
}

}  // namespace seamwright
