#pragma once

// Frames of a scene that is known in every direction: an analytic pattern at infinity, looked up
// through MountedLens::direction_in_rig, so that nothing of the renderer takes part in its own
// test.

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "base/parallel.h"
#include "imaging/frame.h"
#include "imaging/transfer.h"
#include "projection/equirect.h"
#include "projection/rig.h"
#include "tests/support/rigs.h"

namespace seamwright::test {

using Colour = std::array<double, 3>;                    ///< linear light, white 1
using SphereScene = std::function<Colour(const Vec3&)>;  ///< by direction in the rig

/// Smooth, coloured, without a repeat, light 0.1…0.7; about `waves` waves along a great circle.
[[nodiscard]] inline SphereScene wavy_scene(double waves) {
  return [waves](const Vec3& d) {
    const double a = std::sin(waves * d.x() + 0.3) * std::cos(waves * d.y());
    const double b = std::sin(waves * (d.y() + 0.6 * d.z()) + 1.1);
    const double c = std::cos(waves * (0.8 * d.z() - 0.5 * d.x()));
    return Colour{0.4 + 0.1 * (a + b + c), 0.4 + 0.1 * (a - b + c), 0.4 + 0.1 * (b - c - a)};
  };
}

struct ShotOptions {
  std::vector<Colour> exposure = {};  ///< factor on light per lens; empty: 1
  bool vignetting = true;             ///< as the rig's lenses say
  SampleType type = SampleType::u16;
  Channels channels = Channels::rgb;
  Transfer transfer = Transfer::srgb;
};

/// Green pixel that FringeTerms move to `px`, by fixed point.
[[nodiscard]] inline Vec2 green_px(const Lens& lens, const FringeTerms& fringe, const Vec2& px) {
  const Vec2 offset = px - lens.centre_px();
  Vec2 green = offset;
  for (int i = 0; i < 12; ++i) green = offset / fringe.scale(green.norm() / lens.rim_radius_px());
  return lens.centre_px() + green;
}

/// What one colour of the scene brings to frame position `px`.
[[nodiscard]] inline Colour light_of_pixel(const MountedLens& mounted, const SphereScene& scene,
                                           const Vec2& px, const FringeTerms& fringe,
                                           bool vignetting) {
  const Lens& lens = mounted.lens;
  const Vec2 green = fringe == FringeTerms{} ? px : green_px(lens, fringe, px);
  const auto direction = mounted.direction_in_rig(green);
  if (!direction) return {};
  const double r_hat = (green - lens.centre_px()).norm() / lens.rim_radius_px();
  Colour light = scene(*direction);
  if (vignetting) {
    for (double& value : light) value *= lens.vignetting.gain(r_hat);
  }
  return light;
}

/// The light of all three colours, each from its own place where the lens has fringes.
[[nodiscard]] inline Colour light_of_pixel(const MountedLens& mounted, const SphereScene& scene,
                                           const Vec2& px, bool vignetting) {
  Colour light = light_of_pixel(mounted, scene, px, FringeTerms{}, vignetting);
  const Lens& lens = mounted.lens;
  if (!(lens.red == FringeTerms{})) {
    light[0] = light_of_pixel(mounted, scene, px, lens.red, vignetting)[0];
  }
  if (!(lens.blue == FringeTerms{})) {
    light[2] = light_of_pixel(mounted, scene, px, lens.blue, vignetting)[2];
  }
  return light;
}

inline void put_sample(Image& image, int x, int y, int channel, double code) {
  const auto i = static_cast<std::size_t>(x * image.channel_count() + channel);
  const double held = std::clamp(code, 0.0, 1.0);
  switch (image.type()) {
    case SampleType::u8:
      image.row<std::uint8_t>(y)[i] = static_cast<std::uint8_t>(std::lround(held * 255));
      break;
    case SampleType::u16:
      image.row<std::uint16_t>(y)[i] = static_cast<std::uint16_t>(std::lround(held * 65535));
      break;
    case SampleType::f32:
      image.row<float>(y)[i] = static_cast<float>(code);
      break;
  }
}

/// One frame per lens.
[[nodiscard]] inline std::vector<Frame> shoot(const Rig& rig, const SphereScene& scene,
                                              const ShotOptions& options = {}) {
  std::vector<Frame> frames;
  for (std::size_t i = 0; i < rig.lenses.size(); ++i) {
    const MountedLens& mounted = rig.lenses[i];
    Frame frame;
    frame.info.file = "lens" + std::to_string(i) + ".tif";
    frame.image =
        Image(mounted.lens.width_px, mounted.lens.height_px, options.channels, options.type);
    frame.image.transfer = options.transfer;
    const int colours = options.channels == Channels::grey ? 1 : 3;
    parallel_for(0, frame.image.height(), [&](int y) {
      for (int x = 0; x < frame.image.width(); ++x) {
        const Colour light = light_of_pixel(mounted, scene, {x + 0.5, y + 0.5}, options.vignetting);
        for (int c = 0; c < colours; ++c) {
          const auto channel = static_cast<std::size_t>(c);
          const double exposed =
              light[channel] * (options.exposure.empty() ? 1.0 : options.exposure[i][channel]);
          put_sample(frame.image, x, y, c,
                     options.transfer == Transfer::srgb ? linear_to_srgb(exposed) : exposed);
        }
      }
    });
    frames.push_back(std::move(frame));
  }
  return frames;
}

/// A body with frames small enough for tests: 200 degrees, errors of every kind.
[[nodiscard]] inline Rig small_body(std::uint64_t stream, int size_px = 360,
                                    double fringe_spread = 0, double vignetting = 0) {
  return random_rig(stream, {.width_px = size_px,
                             .height_px = size_px,
                             .centre_spread_px = 0.01 * size_px,
                             .fringe_spread = fringe_spread,
                             .vignetting = vignetting});
}

/// Code value (white 1) of a 16-bit or float panorama.
[[nodiscard]] inline double code_at(const Image& image, int x, int y, int channel) {
  const auto i = static_cast<std::size_t>(x * image.channel_count() + channel);
  return image.type() == SampleType::u16 ? image.row<std::uint16_t>(y)[i] / 65535.0
                                         : static_cast<double>(image.row<float>(y)[i]);
}

/// Peak signal-to-noise ratio of code values against the scene, rows weighted by their share of the
/// sphere, dB.
[[nodiscard]] inline double psnr_db(const Image& panorama, const SphereScene& scene) {
  const Equirect raster{panorama.width(), panorama.height()};
  double sum = 0;
  double weights = 0;
  for (int y = 0; y < panorama.height(); ++y) {
    const double weight = std::cos(kPi * (0.5 - (y + 0.5) / panorama.height()));
    for (int x = 0; x < panorama.width(); ++x) {
      const Colour light = scene(raster.direction({x + 0.5, y + 0.5}));
      for (int c = 0; c < 3; ++c) {
        const double error =
            code_at(panorama, x, y, c) - linear_to_srgb(light[static_cast<std::size_t>(c)]);
        sum += weight * error * error;
        weights += weight;
      }
    }
  }
  return -10.0 * std::log10(sum / weights);
}

}  // namespace seamwright::test
