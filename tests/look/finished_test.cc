#include "jobs/look/finished.h"

#include <cmath>
#include <cstdint>
#include <vector>

#include <catch2/catch.hpp>
#include <lcms2.h>

#include "base/parallel.h"
#include "imaging/icc.h"
#include "imaging/transfer.h"
#include "jobs/look/smooth_base.h"

using namespace seamwright;

namespace {

/// Light that is the same everywhere but for a window of 20 × 10 pixels.
Image room_of_light(const std::array<double, 3>& wall, double window) {
  Image image(160, 80, Channels::rgb, SampleType::f32);
  image.transfer = Transfer::linear;
  for (int y = 0; y < 80; ++y) {
    auto row = image.row<float>(y);
    for (std::size_t x = 0; x < 160; ++x) {
      const bool out = y >= 30 && y < 40 && x >= 60 && x < 80;
      // Detail out there: stripes of a fifth of a stop.
      const double stripe = x % 2 == 0 ? 1 : std::exp2(0.2);
      for (std::size_t c = 0; c < 3; ++c) {
        row[3 * x + c] = static_cast<float>(out ? window * stripe : wall[c]);
      }
    }
  }
  return image;
}

std::array<double, 3> code_at(const Image& image, int x, int y) {
  const auto row = image.row<std::uint16_t>(y);
  const auto at = static_cast<std::size_t>(3 * x);
  return {row[at] / 65535.0, row[at + 1] / 65535.0, row[at + 2] / 65535.0};
}

/// CIE L*a*b* of sRGB codes by lcms2, D50 adapted as its profiles are: outside of this program.
cmsCIELab lcms_lab(const std::array<double, 3>& code) {
  cmsHPROFILE srgb = cmsCreate_sRGBProfile();
  cmsHPROFILE lab = cmsCreateLab4Profile(nullptr);
  cmsHTRANSFORM transform =
      cmsCreateTransform(srgb, TYPE_RGB_DBL, lab, TYPE_Lab_DBL, INTENT_RELATIVE_COLORIMETRIC, 0);
  cmsCIELab out{};
  cmsDoTransform(transform, code.data(), &out, 1);
  cmsDeleteTransform(transform);
  cmsCloseProfile(srgb);
  cmsCloseProfile(lab);
  return out;
}

double chroma(const cmsCIELab& lab) { return std::hypot(lab.a, lab.b); }

Result<DisplayLook> own_look(const Image& picture, const LookReach& reach) {
  const auto patches = patches_of(picture);
  if (!patches) return tl::unexpected(patches.error());
  const auto light = light_of(*patches);
  REQUIRE(light);
  return look_of({.match = LookMatch::shot}, {.light = *light}, {}, reach);
}

Image display_frame(const std::array<double, 3>& light) {
  Image image(64, 32, Channels::rgb, SampleType::u16);
  for (int y = 0; y < 32; ++y) {
    auto row = image.row<std::uint16_t>(y);
    for (std::size_t i = 0; i < row.size(); ++i) {
      row[i] = static_cast<std::uint16_t>(std::lround(65535 * linear_to_srgb(light[i % 3])));
    }
  }
  return image;
}

}  // namespace

TEST_CASE("a grey room under warm light becomes grey, at L* 57, by lcms2", "[look]") {
  const Image light = room_of_light({0.05, 0.04, 0.026}, 0.6);
  CHECK(chroma(lcms_lab({linear_to_srgb(0.25), linear_to_srgb(0.2), linear_to_srgb(0.13)})) > 14);
  const auto look = own_look(light, kReachOfLight);
  REQUIRE(look);
  const auto shown = finished_light(light, *look, {});
  REQUIRE(shown);
  CHECK(shown->type() == SampleType::u16);
  const cmsCIELab lab = lcms_lab(code_at(*shown, 10, 20));
  CHECK(lab.L == Approx(57).margin(0.5));
  CHECK(chroma(lab) < 0.5);
}

TEST_CASE("a window keeps its detail, and the walls about it their brightness", "[look]") {
  // Seven stops above the wall.
  const Image light = room_of_light({0.04, 0.04, 0.04}, 5.12);
  const auto look = own_look(light, kReachOfLight);
  REQUIRE(look);
  const auto shown = finished_light(light, *look, {});
  REQUIRE(shown);
  // The largest of a block counts as white: no stripe but the brighter ones may reach it.
  const cmsCIELab dark = lcms_lab(code_at(*shown, 70, 35));
  const cmsCIELab bright = lcms_lab(code_at(*shown, 71, 35));
  // Stripes of a fifth of a stop stay apart, more than by the curve for brightness alone.
  const Image* pictures[] = {&light};
  const auto plain = for_display(light, {.curve = choose_curve(pictures)});
  REQUIRE(plain);
  const double plainly = lcms_lab(code_at(*plain, 71, 35)).L - lcms_lab(code_at(*plain, 70, 35)).L;
  CHECK(bright.L - dark.L > 1.15 * plainly);
  CHECK(dark.L > 85);
  // No halo: the wall next to the window is the wall far from it.
  const double far = lcms_lab(code_at(*shown, 10, 5)).L;
  for (int x = 0; x < 160; ++x) {
    if (x >= 60 && x < 80) continue;
    CAPTURE(x);
    CHECK(lcms_lab(code_at(*shown, x, 35)).L == Approx(far).margin(1));
  }
}

TEST_CASE("a finished picture goes around without a step, with any number of threads", "[look]") {
  Image light = room_of_light({0.1, 0.08, 0.05}, 0.1);
  for (int y = 0; y < 80; ++y) {
    auto row = light.row<float>(y);
    for (std::size_t x = 0; x < 160; ++x) {
      const double turn = 2 * 3.14159265358979 * (static_cast<double>(x) + 0.5) / 160;
      for (std::size_t c = 0; c < 3; ++c)
        row[3 * x + c] *= static_cast<float>(std::exp2(3 * std::cos(turn)));
    }
  }
  const DisplayLook look{.gain_ev = 1};
  const auto shown = finished_light(light, look, {});
  REQUIRE(shown);
  for (int y = 0; y < 80; y += 7) {
    CHECK(std::abs(code_at(*shown, 0, y)[1] - code_at(*shown, 159, y)[1]) < 1e-3);
  }
  const ThreadLimit one(1);
  const auto again = finished_light(light, look, {});
  REQUIRE(again);
  CHECK(std::equal(again->bytes().begin(), again->bytes().end(), shown->bytes().begin()));
}

TEST_CASE("the safe curve keeps black and white and brings a level where it is wanted", "[look]") {
  // Schlick's p by hand: 0.2 to 0.4 is 0.4 · 0.8 / (0.2 · 0.6).
  CHECK(safe_slope(0.2, 0.4) == Approx(0.32 / 0.12));
  CHECK(safe_slope(0.3, 0.3) == Approx(1));
  Image frame = display_frame({0.1, 0.1, 0.1});
  auto row = frame.row<std::uint16_t>(3);
  row[0] = row[1] = row[2] = 65535;
  row[3] = row[4] = row[5] = 0;
  for (const double gain_ev : {-1.0, -0.3, 0.4, 1.0}) {
    CAPTURE(gain_ev);
    Image changed = frame;
    REQUIRE(finish_frames(changed, {.level_ev = std::log2(0.1), .gain_ev = gain_ev}));
    CHECK(srgb_to_linear(code_at(changed, 9, 9)[0]) ==
          Approx(0.1 * std::exp2(gain_ev)).epsilon(1e-3));
    CHECK(code_at(changed, 0, 3)[0] == 1);
    CHECK(code_at(changed, 1, 3)[0] == 0);
  }
}

TEST_CASE("frames rise all the way to white, and white stays white under any balance", "[look]") {
  Image ramp(256, 8, Channels::rgb, SampleType::u16);
  for (int y = 0; y < 8; ++y) {
    auto row = ramp.row<std::uint16_t>(y);
    for (std::size_t i = 0; i < row.size(); ++i) row[i] = static_cast<std::uint16_t>(i / 3 * 257);
  }
  for (const auto& [red_ev, blue_ev] : {std::pair(0.3, -0.4), {-0.5, 0.0}, {0.2, 0.45}}) {
    CAPTURE(red_ev, blue_ev);
    Image changed = ramp;
    REQUIRE(finish_frames(
        changed, {.level_ev = -2.5, .gain_ev = 0.5, .red_ev = red_ev, .blue_ev = blue_ev}));
    double before = -1;
    for (int x = 0; x < 256; ++x) {
      const auto code = code_at(changed, x, 4);
      const double most = std::max({code[0], code[1], code[2]});
      CHECK(most >= before);
      before = most;
    }
    CHECK(chroma(lcms_lab(code_at(changed, 255, 4))) < 0.01);
  }
}

TEST_CASE("display frames of another white agree after their looks, by lcms2", "[look]") {
  const Image warm = display_frame({0.16, 0.14, 0.12});
  const Image dark = display_frame({0.05, 0.055, 0.06});
  std::vector<cmsCIELab> shown;
  for (Image frame : {warm, dark}) {
    const auto look = own_look(frame, kReachOfFrames);
    REQUIRE(look);
    REQUIRE(finish_frames(frame, *look));
    shown.push_back(lcms_lab(code_at(frame, 20, 20)));
    CHECK(chroma(shown.back()) < 1);
  }
  // 0.055 is more than two stops from where it should be: it gets one, and no more.
  CHECK(shown[0].L > shown[1].L);
  CHECK(shown[0].L == Approx(57).margin(1));
}

TEST_CASE("a profile goes on, alpha stays, and grey pictures have no white", "[look]") {
  Image light(64, 32, Channels::rgba, SampleType::f32);
  light.icc_profile = make_wide_profile(Transfer::linear);
  for (int y = 0; y < 32; ++y) {
    for (auto& sample : light.row<float>(y)) sample = 0.25F;
  }
  const auto shown = finished_light(light, {.gain_ev = -0.3}, {});
  REQUIRE(shown);
  CHECK(shown->icc_profile == make_wide_profile(Transfer::srgb));
  CHECK(shown->row<std::uint16_t>(7)[3] == 16384);
  Image grey(64, 32, Channels::grey, SampleType::u16);
  for (int y = 0; y < 32; ++y) {
    for (auto& sample : grey.row<std::uint16_t>(y)) sample = 30000;
  }
  Image changed = grey;
  REQUIRE(finish_frames(changed, {.level_ev = -2.5, .gain_ev = 0, .red_ev = 0.4, .blue_ev = -0.4}));
  CHECK(std::abs(changed.row<std::uint16_t>(3)[5] - 30000) <= 1);
}

TEST_CASE("the base goes around: a panorama that is turned has a turned base", "[look]") {
  constexpr int kColumns = 96;
  constexpr int kTurn = 37;
  FloatPlane stops(kColumns, 48);
  FloatPlane turned(kColumns, 48);
  for (int y = 0; y < 48; ++y) {
    for (int x = 0; x < kColumns; ++x) {
      // A bright half, an edge at the border, a slope, detail.
      const double value = (x < 40 ? 3 : 0) + 0.01 * x + 0.2 * ((x + y) % 2);
      stops.row(y)[static_cast<std::size_t>(x)] = static_cast<float>(value);
      turned.row(y)[static_cast<std::size_t>((x + kTurn) % kColumns)] = static_cast<float>(value);
    }
  }
  const SmoothBase base(stops, 5, 0.36);
  const SmoothBase turned_base(turned, 5, 0.36);
  int edges = 0;
  for (int x = 0; x < kColumns; ++x) {
    CAPTURE(x);
    const auto value = static_cast<double>(stops.at(x, 20));
    const double here = base.at(x + 0.5, 20.5, value);
    CHECK(turned_base.at((x + kTurn) % kColumns + 0.5, 20.5, value) == Approx(here).margin(1e-4));
    // Detail goes, the edge stays.
    CHECK(here == Approx(value).margin(0.35));
    edges += x > 0 && std::abs(here - base.at(x - 0.5, 20.5, stops.at(x - 1, 20))) > 2 ? 1 : 0;
  }
  CHECK(edges == 1);
}
