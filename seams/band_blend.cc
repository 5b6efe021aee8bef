#include "seams/band_blend.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string_view>
#include <utility>

#include "base/smooth_step.h"
#include "seams/bad_option.h"
#include "seams/ring_blur.h"

namespace seamwright {

namespace {

constexpr std::string_view kBlendPart = "blend";
constexpr double kWidthOfBand = 2.5;    // half width of a band's crossing, in σ of the band
constexpr double kCoarsestShare = 6.0;  // height of the ribbon in σ of the coarsest band
constexpr float kEnoughWeight = 0.1F;   // share of comparable pixels that tells a band's value
constexpr int kRoomReach_px = 12;       // borders are drawn in this far along the ring, then smooth
constexpr double kFloor = 0.01;         // light added where views are compared

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

// Share of lens a that crosses over at `seam` by half widths of at most `half_px`, and exactly 1
// and 0 at the borders.
double mask(double row, double seam, double top, double bottom, double half_px) {
  if (row <= top) return 1;
  if (row >= bottom) return 0;
  const double centre = std::clamp(seam, top, bottom);
  const double half =
      row < centre ? std::min(half_px, centre - top) : std::min(half_px, bottom - centre);
  if (half <= 0) return row < centre ? 1 : 0;
  return smooth_step(0.5 * (1 + (centre - row) / half));
}

// One band: D smoothed to `sigma_px`, where it can be told, else as the coarser band says.
Plane level(const Plane& weighted, const Plane& weight, const Plane& coarser, double sigma_px,
            bool closed) {
  Plane smooth = blurred(weighted, sigma_px, closed);
  const Plane share = blurred(weight, sigma_px, closed);
  for (std::size_t i = 0; i < smooth.value.size(); ++i) {
    const float known = std::min(1.0F, share.value[i] / kEnoughWeight);
    const float mean = share.value[i] > 0 ? smooth.value[i] / share.value[i] : 0.0F;
    smooth.value[i] = coarser.value[i] + known * (mean - coarser.value[i]);
  }
  return smooth;
}

class Blender {
 public:
  Blender(const SeamViews& views, const SeamPath& seam, const BandBlendOptions& options)
      : views_(views),
        seam_(seam),
        options_(options),
        width_(views.light_a.width()),
        height_(views.light_a.height()),
        borders_(borders_of(views)) {
    if (options.gain_field) gains_ = fit_gain_field(views, seam.subject_map, options.gains);
    const double coarsest = std::max(options.finest_px, height_ / kCoarsestShare);
    for (double sigma = options.finest_px; sigma <= coarsest; sigma *= 2) sigmas_.push_back(sigma);
    for (const double sigma : sigmas_) {
      seams_.push_back(blurred(seam.row_px, sigma, views.closed));
    }
  }

  BandBlend run() {
    BandBlend::Tones of_a = neutral();
    BandBlend::Tones of_b = neutral();
    slide_gains(of_a.gain, of_b.gain);
    const Plane weight = comparable(of_a.gain, of_b.gain);
    for (int c = 0; c < 3; ++c) add_bands(weight, c, of_a, of_b);
    return {views_.closed, std::move(of_a), std::move(of_b)};
  }

 private:
  [[nodiscard]] BandBlend::Tones neutral() const {
    return {Image(width_, height_, Channels::rgb, SampleType::f32),
            Image(width_, height_, Channels::rgb, SampleType::f32)};
  }

  void slide_gains(Image& gain_a, Image& gain_b) const {
    for (int y = 0; y < height_; ++y) {
      const auto a = gain_a.row<float>(y);
      const auto b = gain_b.row<float>(y);
      for (int x = 0; x < width_; ++x) {
        const auto at = static_cast<std::size_t>(x);
        const double top = borders_.top[at];
        const double room = borders_.bottom[at] - top;
        const double share = room > 0 ? smooth_step((y + 0.5 - top) / room) : y + 0.5 > top;
        for (int c = 0; c < 3; ++c) {
          const double ratio_ev = gains_.ratio_ev(x + 0.5, y + 0.5, c);
          const auto i = 3 * at + static_cast<std::size_t>(c);
          a[i] = static_cast<float>(std::exp2(-share * ratio_ev));
          b[i] = static_cast<float>(std::exp2((1 - share) * ratio_ev));
        }
      }
    }
  }

  [[nodiscard]] std::size_t channel(int x, int c) const {
    const int channels = views_.light_a.channel_count();
    return static_cast<std::size_t>(x * channels + std::min(c, channels - 1));
  }

  // 1 where both views show the same thing with all its light.
  [[nodiscard]] Plane comparable(const Image& gain_a, const Image& gain_b) const {
    Plane weight(width_, height_);
    for (int y = 0; y < height_; ++y) {
      const auto a = views_.light_a.row<float>(y);
      const auto b = views_.light_b.row<float>(y);
      const auto to_a = gain_a.row<float>(y);
      const auto to_b = gain_b.row<float>(y);
      for (int x = 0; x < width_; ++x) {
        bool alike = state_at(views_.state_a, x, y) == ViewState::good &&
                     state_at(views_.state_b, x, y) == ViewState::good;
        alike = alike && (seam_.subject_map.empty() ||
                          seam_.subject_map.row<std::uint8_t>(y)[static_cast<std::size_t>(x)] == 0);
        for (int c = 0; c < 3 && alike; ++c) {
          const auto i = static_cast<std::size_t>(3 * x + c);
          const double ratio = (std::max(0.0F, a[channel(x, c)] * to_a[i]) + kFloor) /
                               (std::max(0.0F, b[channel(x, c)] * to_b[i]) + kFloor);
          alike = std::abs(std::log2(ratio)) <= options_.most_step_ev;
        }
        weight.row(y)[x] = alike ? 1.0F : 0.0F;
      }
    }
    return weight;
  }

  // D of one channel, 0 where it is not known.
  [[nodiscard]] Plane difference(const Plane& weight, int c, const Image& gain_a,
                                 const Image& gain_b) const {
    Plane result(width_, height_);
    for (int y = 0; y < height_; ++y) {
      const auto a = views_.light_a.row<float>(y);
      const auto b = views_.light_b.row<float>(y);
      const auto to_a = gain_a.row<float>(y);
      const auto to_b = gain_b.row<float>(y);
      for (int x = 0; x < width_; ++x) {
        const auto i = static_cast<std::size_t>(3 * x + c);
        if (weight.row(y)[x] == 0) continue;
        result.row(y)[x] = a[channel(x, c)] * to_a[i] - b[channel(x, c)] * to_b[i];
      }
    }
    return result;
  }

  void add_bands(const Plane& weight, int c, BandBlend::Tones& of_a, BandBlend::Tones& of_b) const {
    const Plane weighted = difference(weight, c, of_a.gain, of_b.gain);
    Plane coarser(width_, height_);
    for (std::size_t k = sigmas_.size(); k-- > 0;) {
      const bool coarsest = k + 1 == sigmas_.size();
      Plane smooth = level(weighted, weight, coarser, sigmas_[k], views_.closed);
      const double half_px = coarsest ? height_ : kWidthOfBand * sigmas_[k];
      for (int y = 0; y < height_; ++y) {
        const auto add_a = of_a.add.row<float>(y);
        const auto add_b = of_b.add.row<float>(y);
        for (int x = 0; x < width_; ++x) {
          const auto at = static_cast<std::size_t>(x);
          const double band = smooth.row(y)[x] - coarser.row(y)[x];
          const double share =
              mask(y + 0.5, seams_[k][at], borders_.top[at], borders_.bottom[at], half_px);
          const auto i = 3 * at + static_cast<std::size_t>(c);
          add_a[i] += static_cast<float>((share - 1) * band);
          add_b[i] += static_cast<float>(share * band);
        }
      }
      coarser = std::move(smooth);
    }
  }

  const SeamViews& views_;
  const SeamPath& seam_;
  const BandBlendOptions& options_;
  int width_;
  int height_;
  Borders borders_;
  GainField gains_;
  std::vector<double> sigmas_;             // finest first
  std::vector<std::vector<float>> seams_;  // the seam, as smooth as each band
};

std::array<float, 3> interpolated(const Image& raster, double x_px, double row_px, bool closed) {
  const int width = raster.width();
  const double at_x = closed ? x_px - 0.5 : std::clamp(x_px - 0.5, 0.0, width - 1.0);
  const double at_y = std::clamp(row_px - 0.5, 0.0, raster.height() - 1.0);
  const int left = static_cast<int>(std::floor(at_x));
  const int top = static_cast<int>(at_y);
  const auto part_x = static_cast<float>(at_x - left);
  const auto part_y = static_cast<float>(at_y - top);
  const auto column = [&](int x) {
    return static_cast<std::size_t>(closed ? (x % width + width) % width : std::min(x, width - 1));
  };
  const auto upper = raster.row<float>(top);
  const auto lower = raster.row<float>(std::min(top + 1, raster.height() - 1));
  const std::size_t i = 3 * column(left);
  const std::size_t j = 3 * column(left + 1);
  std::array<float, 3> value{};
  for (std::size_t c = 0; c < 3; ++c) {
    const float above = upper[i + c] + part_x * (upper[j + c] - upper[i + c]);
    const float below = lower[i + c] + part_x * (lower[j + c] - lower[i + c]);
    value[c] = above + part_y * (below - above);
  }
  return value;
}

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

LensTone BandBlend::tone_a(double x_px, double row_px) const {
  return {interpolated(of_a_.gain, x_px, row_px, closed_),
          interpolated(of_a_.add, x_px, row_px, closed_)};
}

LensTone BandBlend::tone_b(double x_px, double row_px) const {
  return {interpolated(of_b_.gain, x_px, row_px, closed_),
          interpolated(of_b_.add, x_px, row_px, closed_)};
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
