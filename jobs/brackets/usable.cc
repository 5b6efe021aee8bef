#include "jobs/brackets/usable.h"

#include <algorithm>
#include <cmath>

#include "base/parallel.h"
#include "imaging/clipping.h"
#include "jobs/brackets/light.h"
#include "jobs/brackets/plane.h"

namespace seamwright {
namespace {

Mask mask_above(const FloatPlane& plane, float level) {
  Mask mask(plane.width, plane.height);
  std::transform(
      plane.values.begin(), plane.values.end(), mask.values.begin(),
      [level](float value) { return static_cast<std::uint8_t>(value >= level ? 255 : 0); });
  return mask;
}

// 1 below the roll, 0 above it, smooth between.
std::uint8_t share_at(float signal_of_clip) {
  const float t = std::clamp((clipping::kBracketRollTo - signal_of_clip) /
                                 (clipping::kBracketRollTo - clipping::kBracketRollFrom),
                             0.0F, 1.0F);
  return static_cast<std::uint8_t>(std::lround(255.0F * t * t * (3 - 2 * t)));
}

/// What the frames so far say of the scene's light, each pixel by the last one that was wholly
/// usable there; 0 where none was.
class Forecast {
 public:
  Forecast(int width, int height) : light_(width, height) {}
  void learn(const FloatPlane& peak, const Mask& share, double exposure) {
    for (std::size_t i = 0; i < peak.values.size(); ++i) {
      if (share.values[i] == 255) light_.values[i] = peak.values[i] / static_cast<float>(exposure);
    }
  }
  [[nodiscard]] FloatPlane smooth() const { return box_mean(light_, 1); }

 private:
  FloatPlane light_;
};

void leave_out_beyond(const Extent& extent, Mask& share) {
  for (int y = 0; y < share.height; ++y) {
    auto row = share.row(y);
    for (int x = 0; x < share.width; ++x) {
      if (!extent.holds(x, y)) row[static_cast<std::size_t>(x)] = 0;
    }
  }
}

// Somebody must speak for every pixel.
void fill_gaps(std::span<const Exposed> frames, std::vector<Mask>& shares) {
  for (int y = 0; y < shares.front().height; ++y) {
    for (int x = 0; x < shares.front().width; ++x) {
      const auto speaks = [&](const Mask& share) { return share.at(x, y) != 0; };
      if (std::any_of(shares.begin(), shares.end(), speaks)) continue;
      for (std::size_t i = 0; i < shares.size(); ++i) {
        if (!frames[i].extent.holds(x, y)) continue;
        shares[i].row(y)[static_cast<std::size_t>(x)] = 1;
        break;
      }
    }
  }
}

}  // namespace

FloatPlane peak_plane(const Exposed& frame) {
  const Image& image = frame.image;
  const std::size_t step = static_cast<std::size_t>(image.channel_count());
  const std::size_t colours = colour_count(image);
  FloatPlane peak(image.width(), image.height());
  parallel_for(0, image.height(), [&](int y) {
    std::vector<float> light = light_row(image);
    decode_light(image, frame.curve, y, light);
    auto out = peak.row(y);
    for (std::size_t x = 0; x < out.size(); ++x) {
      const float* first = &light[x * step];
      out[x] = *std::max_element(first, first + colours);
    }
  });
  return peak;
}

Mask clipped_pixels(const Exposed& frame, double clip_level) {
  return mask_above(peak_plane(frame), static_cast<float>(clip_level));
}

std::vector<Mask> usable_shares(std::span<const Exposed> frames, double clip_level) {
  constexpr double kSameStep = 1.05;
  const Image& first = frames.front().image;
  const auto level = static_cast<float>(clip_level);
  std::vector<Mask> shares;
  Forecast forecast(first.width(), first.height());
  FloatPlane expected = forecast.smooth();
  double step_exposure = frames.front().exposure;
  for (const Exposed& frame : frames) {
    // Frames of one burst are told by the step below them, all alike.
    if (frame.exposure > step_exposure * kSameStep) {
      expected = forecast.smooth();
      step_exposure = frame.exposure;
    }
    const FloatPlane peak = peak_plane(frame);
    const bool shortest = frame.exposure <= frames.front().exposure * kSameStep;
    const Mask clipped = shortest ? mask_above(peak, level) : grown(mask_above(peak, level), 1);
    const auto to_clip = static_cast<float>(frame.exposure / clip_level);
    Mask share(first.width(), first.height());
    for (std::size_t i = 0; i < share.values.size(); ++i) {
      if (clipped.values[i] == 0) share.values[i] = share_at(expected.values[i] * to_clip);
    }
    leave_out_beyond(frame.extent, share);
    forecast.learn(peak, share, frame.exposure);
    shares.push_back(std::move(share));
  }
  fill_gaps(frames, shares);
  return shares;
}

}  // namespace seamwright
