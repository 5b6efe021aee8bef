#include "compose/seams/band_blend.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string_view>
#include <utility>

#include "base/parallel.h"
#include "compose/seams/bad_option.h"
#include "compose/seams/blend_kernels.h"
#include "compose/seams/ring_blur.h"

namespace seamwright {

namespace {

constexpr std::string_view kBlendPart = "blend";
constexpr double kWidthOfBand = 2.5;    // half width of a band's crossing, in σ of the band
constexpr double kCoarsestShare = 6.0;  // height of the ribbon in σ of the coarsest band
constexpr float kEnoughWeight = 0.1F;   // share of comparable pixels that tells a band's value
constexpr int kRoomReach_px = 12;       // borders are drawn in this far along the ring, then smooth
constexpr float kFloor = 0.01F;         // light added where views are compared

// Borders of the overlap that change smoothly along the ring and never leave the real ones.
struct Borders {
  std::vector<float> top;
  std::vector<float> bottom;
};

std::vector<float> drawn_in(const std::vector<float>& border, bool closed, float side) {
  const int width = static_cast<int>(border.size());
  std::vector<float> inner(border.size());
  for (int x = 0; x < width; ++x) {
    float most = side * border[static_cast<std::size_t>(x)];
    for (int i = -kRoomReach_px; i <= kRoomReach_px; ++i) {
      const int at = closed ? ((x + i) % width + width) % width : x + i;
      if (at < 0 || at >= width) continue;
      most = std::max(most, side * border[static_cast<std::size_t>(at)]);
    }
    inner[static_cast<std::size_t>(x)] = side * most;
  }
  return blurred(inner, kRoomReach_px / 3.0, closed);
}

Borders borders_of(const SeamViews& views) {
  const int height = views.light_a.height();
  Borders borders;
  for (int x = 0; x < views.light_a.width(); ++x) {
    const SeamRoom room = seam_room(views, x);
    // The outermost rows stay neutral, so that nothing steps beyond the raster.
    borders.top.push_back(static_cast<float>(std::max(1, room.top)));
    borders.bottom.push_back(static_cast<float>(std::min(height - 1, room.bottom)));
  }
  borders.top = drawn_in(borders.top, views.closed, 1);
  borders.bottom = drawn_in(borders.bottom, views.closed, -1);
  for (std::size_t x = 0; x < borders.top.size(); ++x) {
    if (borders.top[x] <= borders.bottom[x]) continue;
    borders.top[x] = borders.bottom[x] = 0.5F * (borders.top[x] + borders.bottom[x]);
  }
  return borders;
}

// Sums of D, channel by channel, and of its weights, smoothed to some σ.
struct Smoothed {
  double sigma_px = 0;  // of the ribbon
  std::array<FloatPlane, 3> weighted;
  FloatPlane weight;
};

// A plane smoothed from σ `from_px` on to `to_px`, pixels of the ribbon, in a raster in which that
// is no less than a pyramid needs.
FloatPlane smoothed_on(const FloatPlane& plane, double from_px, double to_px, int ribbon_width,
                       bool closed) {
  const double scale = 1.0 * ribbon_width / plane.width;  // ribbon px a pixel
  const double sigma = std::sqrt(to_px * to_px - from_px * from_px) / scale;
  if (to_px / (2 * scale) < kLeastSigma_px) return blurred(plane, sigma, closed);
  return reduced(plane, sigma, (plane.width + 1) / 2, (plane.height + 1) / 2, closed);
}

class Blender {
 public:
  Blender(const SeamViews& views, const SeamPath& seam, const BandBlendOptions& options)
      : views_(views),
        seam_(seam),
        width_(views.light_a.width()),
        height_(views.light_a.height()),
        most_step_(static_cast<float>(std::exp2(options.most_step_ev))),
        borders_(borders_of(views)) {
    if (options.gain_field) gains_ = fit_gain_field(views, seam.subject_map, options.gains);
    const double coarsest = std::max(options.finest_px, height_ / kCoarsestShare);
    for (double sigma = options.finest_px; sigma <= coarsest; sigma *= 2) sigmas_.push_back(sigma);
    for (const double sigma : sigmas_) {
      seams_.push_back(blurred(seam.row_px, sigma, views.closed));
    }
  }

  BandBlend run() {
    std::array<std::optional<Tones>, 2> tones;
    parallel_for(0, 2, [&](int i) { tones[static_cast<std::size_t>(i)].emplace(width_, height_); });
    Tones& of_a = *tones[0];
    Tones& of_b = *tones[1];
    slide_gains(of_a, of_b);
    add_bands(smoothed_differences(of_a, of_b), of_a, of_b);
    return {views_.closed, std::move(of_a), std::move(of_b)};
  }

 private:
  using Tones = BandBlend::Tones;

  void slide_gains(Tones& of_a, Tones& of_b) const {
    const GainRaster gains(gains_);
    const auto count = static_cast<std::size_t>(width_);
    parallel_for(0, height_, [&](int y) {
      std::vector<float> share(count);
      std::vector<float> ratio_ev(count);
      std::vector<float> gain_a(count);
      std::vector<float> gain_b(count);
      sliding_row(static_cast<float>(y) + 0.5F, borders_.top.data(), borders_.bottom.data(), count,
                  share.data());
      for (std::size_t c = 0; c < 3; ++c) {
        gains.ratios_ev(y, c, ratio_ev);
        gains_row(share.data(), ratio_ev.data(), count, gain_a.data(), gain_b.data());
        float* a = of_a.row(static_cast<std::size_t>(y)) + c;
        float* b = of_b.row(static_cast<std::size_t>(y)) + c;
        for (std::size_t x = 0; x < count; ++x) {
          a[x * Tones::kFloats] = gain_a[x];
          b[x * Tones::kFloats] = gain_b[x];
        }
      }
    });
  }

  [[nodiscard]] std::size_t channel(int x, std::size_t c) const {
    const auto channels = static_cast<std::size_t>(views_.light_a.channel_count());
    return static_cast<std::size_t>(x) * channels + std::min(c, channels - 1);
  }

  // Both views show the same thing with all its light.
  [[nodiscard]] bool comparable(int x, int y, const float* a, const float* b) const {
    if (state_at(views_.state_a, x, y) != ViewState::good ||
        state_at(views_.state_b, x, y) != ViewState::good) {
      return false;
    }
    if (!seam_.subject_map.empty() &&
        seam_.subject_map.row<std::uint8_t>(y)[static_cast<std::size_t>(x)] != 0) {
      return false;
    }
    for (std::size_t c = 0; c < 3; ++c) {
      const float of_a = std::max(0.0F, a[c]) + kFloor;
      const float of_b = std::max(0.0F, b[c]) + kFloor;
      if (of_a > most_step_ * of_b || of_b > most_step_ * of_a) return false;
    }
    return true;
  }

  // D and where it is known, as smooth as each band; the finest first.
  [[nodiscard]] std::vector<Smoothed> smoothed_differences(const Tones& tone_a,
                                                           const Tones& tone_b) const {
    Smoothed sharp{.weighted = {}, .weight = FloatPlane(width_, height_)};
    parallel_for(0, 3, [&](int i) {
      sharp.weighted[static_cast<std::size_t>(i)] = FloatPlane(width_, height_);
    });
    parallel_for(0, height_, [&](int y) {
      const auto a = views_.light_a.row<float>(y);
      const auto b = views_.light_b.row<float>(y);
      const float* gain_a = tone_a.row(static_cast<std::size_t>(y));
      const float* gain_b = tone_b.row(static_cast<std::size_t>(y));
      for (int x = 0; x < width_; ++x, gain_a += Tones::kFloats, gain_b += Tones::kFloats) {
        std::array<float, 3> of_a{};
        std::array<float, 3> of_b{};
        for (std::size_t c = 0; c < 3; ++c) {
          of_a[c] = a[channel(x, c)] * gain_a[c];
          of_b[c] = b[channel(x, c)] * gain_b[c];
        }
        if (!comparable(x, y, of_a.data(), of_b.data())) continue;
        sharp.weight.line(y)[x] = 1;
        for (std::size_t c = 0; c < 3; ++c) sharp.weighted[c].line(y)[x] = of_a[c] - of_b[c];
      }
    });
    std::vector<Smoothed> all;
    for (const double sigma : sigmas_) {
      const Smoothed& from = all.empty() ? sharp : all.back();
      Smoothed next{.sigma_px = sigma, .weighted = {}, .weight = {}};
      const auto smooth = [&](const FloatPlane& plane) {
        return smoothed_on(plane, from.sigma_px, sigma, width_, views_.closed);
      };
      parallel_for(0, 4, [&](int i) {
        const auto c = static_cast<std::size_t>(i);
        if (c < 3) {
          next.weighted[c] = smooth(from.weighted[c]);
        } else {
          next.weight = smooth(from.weight);
        }
      });
      all.push_back(std::move(next));
    }
    return all;
  }

  void add_bands(const std::vector<Smoothed>& smooth, Tones& of_a, Tones& of_b) const {
    const FloatPlane nothing(1, 1);
    std::array<FloatPlane, 3> coarser{nothing, nothing, nothing};
    for (std::size_t k = smooth.size(); k-- > 0;) {
      std::array<FloatPlane, 3> band;
      parallel_for(0, 3, [&](int i) {
        const auto c = static_cast<std::size_t>(i);
        band[c] = level(smooth[k].weighted[c], smooth[k].weight, coarser[c]);
      });
      add_band(k, band, k + 1 == smooth.size() ? height_ : kWidthOfBand * sigmas_[k], of_a, of_b);
    }
  }

  // One band: D where it can be told, else as the coarser level says. Makes `coarser` this level
  // and gives what it has more than the one before, in the ribbon's own raster.
  [[nodiscard]] FloatPlane level(const FloatPlane& weighted, const FloatPlane& weight,
                                 FloatPlane& coarser) const {
    const int width = weighted.width;
    const int height = weighted.height;
    const FloatPlane there = enlarged(coarser, width, height, views_.closed);
    FloatPlane band(width, height);
    coarser = FloatPlane(width, height);
    parallel_for(0, height, [&](int y) {
      level_row({weighted.line(y), weight.line(y), there.line(y), kEnoughWeight},
                static_cast<std::size_t>(width), coarser.line(y), band.line(y));
    });
    if (width == width_ && height == height_) return band;
    return enlarged(band, width_, height_, views_.closed);
  }

  void add_band(std::size_t k, const std::array<FloatPlane, 3>& band, double half_px, Tones& of_a,
                Tones& of_b) const {
    const auto count = static_cast<std::size_t>(width_);
    parallel_for(0, height_, [&](int y) {
      std::vector<float> share(count);
      crossing_row({.row = static_cast<float>(y) + 0.5F,
                    .half_px = static_cast<float>(half_px),
                    .seam = seams_[k].data(),
                    .top = borders_.top.data(),
                    .bottom = borders_.bottom.data()},
                   count, share.data());
      float* add_a = of_a.row(static_cast<std::size_t>(y)) + Tones::kAdd;
      float* add_b = of_b.row(static_cast<std::size_t>(y)) + Tones::kAdd;
      const std::array<const float*, 3> row{band[0].line(y), band[1].line(y), band[2].line(y)};
      for (std::size_t x = 0; x < count; ++x, add_a += Tones::kFloats, add_b += Tones::kFloats) {
        for (std::size_t c = 0; c < 3; ++c) {
          const float step = row[c][x];
          add_a[c] += (share[x] - 1) * step;
          add_b[c] += share[x] * step;
        }
      }
    });
  }

  const SeamViews& views_;
  const SeamPath& seam_;
  int width_;
  int height_;
  float most_step_;  // as a ratio of light
  Borders borders_;
  GainField gains_;
  std::vector<double> sigmas_;             // finest first
  std::vector<std::vector<float>> seams_;  // the seam, as smooth as each band
};

}  // namespace

std::optional<Error> BandBlendOptions::validate() const {
  if (!(finest_px >= 1 && finest_px <= 64))
    return bad_option(kBlendPart, "finest_px", finest_px, "in 1…64");
  if (!(most_step_ev > 0)) return bad_option(kBlendPart, "most_step_ev", most_step_ev, "above 0");
  if (gains.harmonics < 0 || gains.harmonics > kMostHarmonics) {
    return bad_option(kBlendPart, "gains.harmonics", gains.harmonics, "in 0…8");
  }
  if (!(gains.most_ev >= 0))
    return bad_option(kBlendPart, "gains.most_ev", gains.most_ev, "at least 0");
  if (!(gains.agree_ev > 0))
    return bad_option(kBlendPart, "gains.agree_ev", gains.agree_ev, "above 0");
  return std::nullopt;
}

BandBlend::BandBlend(bool closed, Tones of_a, Tones of_b)
    : closed_(closed), of_a_(std::move(of_a)), of_b_(std::move(of_b)) {}

BandBlend::Tones::Tones(int width_px, int height_px)
    : width_px_(width_px),
      height_px_(height_px),
      value_(row_floats() * static_cast<std::size_t>(height_px), 0.0F) {
  for (std::size_t i = 0; i < value_.size(); i += kFloats) {
    std::fill_n(value_.begin() + static_cast<std::ptrdiff_t>(i), kAdd, 1.0F);
  }
}

LensTone BandBlend::tone(const Tones& of, const RibbonCorners& at) {
  const float* upper = of.row(at.row[0]);
  const float* lower = of.row(at.row[1]);
  const std::size_t left = Tones::kFloats * at.column[0];
  const std::size_t right = Tones::kFloats * at.column[1];
  std::array<float, Tones::kFloats> value;
  for (std::size_t i = 0; i < Tones::kFloats; ++i) {
    const float above = upper[left + i] + at.right * (upper[right + i] - upper[left + i]);
    const float below = lower[left + i] + at.right * (lower[right + i] - lower[left + i]);
    value[i] = above + at.down * (below - above);
  }
  return {{value[0], value[1], value[2]}, {value[4], value[5], value[6]}};
}

Result<BandBlend> band_blend(const SeamViews& views, const SeamPath& seam,
                             const BandBlendOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = check(views)) return fail(std::move(*error));
  const auto width = static_cast<std::size_t>(views.light_a.width());
  if (seam.row_px.size() != width || seam.closed != views.closed) {
    return fail(bad_option(kBlendPart, "seam", static_cast<double>(seam.row_px.size()),
                           "a seam of the views' ribbon"));
  }
  return Blender(views, seam, options).run();
}

}  // namespace seamwright
