#pragma once

// What is left of exposure and colour between two lenses of a pair, as a smooth field over the
// ribbon: stray light and vignetting differ around the ring, one gain a lens cannot tell.

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <vector>

#include "compose/seams/seam_views.h"
#include "projection/conventions.h"

namespace seamwright {

inline constexpr int kMostHarmonics = 8;

struct GainFieldOptions {
  int harmonics = 3;      ///< around the ring, 0…kMostHarmonics
  double most_ev = 0.75;  ///< never corrects by more
  double agree_ev = 0.5;  ///< pixels this far off the fit say nothing about it
  int least_px = 400;     ///< agreeing pixels without which nothing is corrected
};

/// log2 of lens a's light over lens b's, low order in both directions.
///
/// Both lenses approach a common light gradually: at share s from lens a's border of the overlap
/// (0) to lens b's (1), lens a is multiplied by 2^(−s·field), lens b by 2^((1−s)·field). There they
/// agree everywhere in the ribbon, and each is untouched at the border where it goes on alone.
class GainField {
 public:
  GainField() = default;
  /// `terms`: per channel the coefficients of the basis, in EV.
  GainField(bool closed, int width_px, int height_px, int harmonics, double most_ev,
            std::array<std::vector<double>, 3> terms);

  /// 0 for a field that corrects nothing. Continuous pixels.
  [[nodiscard]] double ratio_ev(double x_px, double row_px, int channel) const;
  [[nodiscard]] bool empty() const { return terms_[0].empty(); }

 private:
  friend class GainRaster;
  bool closed_ = false;
  int width_px_ = 1;
  int height_px_ = 1;
  int harmonics_ = 0;
  double most_ev_ = 0;
  std::array<std::vector<double>, 3> terms_;
};

/// A gain field at the pixel centres of its ribbon: sums around the ring are done once.
class GainRaster {
 public:
  explicit GainRaster(const GainField& field);

  /// GainField::ratio_ev(x + ½, y + ½, channel), to float's precision.
  [[nodiscard]] float ratio_ev(int x, int y, std::size_t channel) const {
    const std::vector<float>& around = around_[channel];
    if (around.empty()) return 0;
    const float across = across_scale_ * (static_cast<float>(y) + 0.5F) - 1.0F;
    return std::clamp(around[static_cast<std::size_t>(x)] + tilt_[channel] * across, -most_ev_,
                      most_ev_);
  }
  /// The same of a whole row.
  void ratios_ev(int y, std::size_t channel, std::span<float> to) const {
    const std::vector<float>& around = around_[channel];
    const float tilted = tilt_[channel] * (across_scale_ * (static_cast<float>(y) + 0.5F) - 1.0F);
    for (std::size_t x = 0; x < to.size(); ++x) {
      const float ratio = around.empty() ? 0.0F : around[x] + tilted;
      const float least = ratio > -most_ev_ ? ratio : -most_ev_;
      to[x] = least < most_ev_ ? least : most_ev_;
    }
  }

 private:
  std::array<std::vector<float>, 3> around_;  // by column, in the middle of the ribbon
  std::array<float, 3> tilt_{};
  float across_scale_ = 0;
  float most_ev_ = 0;
};

/// Robust fit to the pixels that both lenses show well, outside `subject_map` (grey u8, may be
/// empty).
[[nodiscard]] GainField fit_gain_field(const SeamViews& views, const Image& subject_map,
                                       const GainFieldOptions& options = {});

}  // namespace seamwright
