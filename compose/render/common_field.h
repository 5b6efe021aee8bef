#pragma once

#include <vector>

#include "compose/seams/viewpoint_slide.h"
#include "projection/ribbon.h"
#include "sampling/lens_map.h"

namespace seamwright {

/// Kept free at the rim of the fields of view.
inline constexpr double kFieldMargin_rad = rad_from_deg(0.5);

/// Where two lenses both see, around their ribbon's azimuths. Keeps references. Thread-safe.
class CommonField {
 public:
  CommonField(const std::vector<LensMap>& maps, int a, int b, const RibbonAxes& axes)
      : maps_(maps), a_(a), b_(b), axes_(axes) {}

  /// Where both lenses see at an azimuth, around where the lesser margin is largest; strength 0
  /// where they see nothing in common. Strength is 1 unless a third lens sees the middle as well,
  /// or better: there the seams of several pairs meet, and a walk between two of them would tear
  /// from the third.
  [[nodiscard]] SlideColumn at(double psi_rad) const;

 private:
  [[nodiscard]] double margin(int lens, const Vec3& direction) const;
  [[nodiscard]] double lesser_margin(const Vec3& direction) const;
  [[nodiscard]] double strength(const Vec3& direction) const;

  const std::vector<LensMap>& maps_;
  int a_;
  int b_;
  const RibbonAxes& axes_;
};

/// The overlap column by column: asked for in some, straight between those that have one.
[[nodiscard]] std::vector<SlideColumn> slide_columns(const CommonField& field,
                                                     const RibbonGrid& grid);

/// The rows that the walk needs: its own, and as many more as the nearest thing can shift.
[[nodiscard]] RibbonGrid cropped(RibbonGrid grid, const CommonField& field, double most_shift_rad,
                                 const SlideOptions& options);

}  // namespace seamwright
