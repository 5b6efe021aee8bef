#pragma once

// Where a panorama looks from, between two pupils.
//
// A panorama of one pair has two viewpoints: the pupil of lens a on one side of the overlap, that
// of lens b on the other. A cut between them makes near objects jump. Here the viewpoint walks
// along the baseline while the direction crosses the overlap: for each azimuth ψ it stands at
// +h · strength where the overlap begins and at −h · strength where it ends, and its speed at both
// borders is zero. Since it walks towards −pole while the direction turns towards −pole, no two
// rays of one azimuth meet in front of the rig: every point is seen once, nothing folds.

#include <span>
#include <vector>

#include "compose/seams/baseline_view.h"
#include "projection/ribbon.h"

namespace seamwright {

/// The walk at one column of a ribbon.
struct SlideColumn {
  double begin_rad = 0;  ///< colatitude at which lens b begins to see; up to here lens a's pupil
  double end_rad = 0;    ///< colatitude at which lens a ends; from here on lens b's pupil
  double strength = 0;   ///< 0: no walk, both lenses look as they do at infinity; 1: all the way
};

/// What a field of view leaves of each column, as sampled by the caller.
struct SlideOptions {
  /// The walk takes at most this far from the middle of the overlap, so that what is far from the
  /// seam is seen from its own lens' pupil.
  double most_half_width_rad = rad_from_deg(16);
  /// Narrower overlaps have no walk; twice as wide ones a whole one.
  double least_half_width_rad = rad_from_deg(1.5);
  /// Borders and strength are evened out over this much of the azimuth to both sides.
  double even_rad = rad_from_deg(4);
};

class ViewpointSlide {
 public:
  /// One column per column of `grid`, each saying where both lenses see (strength 0: nowhere) and
  /// how much of a walk is wanted; narrowed and evened out as `options` say. On an open ribbon the
  /// walk fades out towards both ends.
  ViewpointSlide(double half_m, const RibbonGrid& grid, std::vector<SlideColumn> columns,
                 const SlideOptions& options = {});

  [[nodiscard]] const std::vector<SlideColumn>& columns() const { return columns_; }
  [[nodiscard]] double half_m() const { return half_m_; }
  [[nodiscard]] double strength(int x) const;
  /// Offset of the viewpoint on the baseline for a direction, as if the strength were 1.
  [[nodiscard]] double offset_m(int x, double eta_rad) const;
  /// Under which colatitude the panorama shows what is seen under another one from offset `from_m`,
  /// at inverse distance `inverse_m` from the middle of the pupils.
  [[nodiscard]] double shown_eta(int x, double from_m, const Colatitude& seen_under,
                                 double inverse_m) const;
  /// The same of a row of points from column x on, less `seen_under`, within 1e-7 rad.
  void shown_turns(int x, double from_m, const Colatitude& seen_under,
                   std::span<const float> inverse_m, float* turn_rad) const;
  /// offset_m() of the columns from x on, to a float's precision.
  void offsets_m(int x, double eta_rad, std::span<float> offset_m) const;

 private:
  double half_m_;
  std::vector<SlideColumn> columns_;
  std::vector<double> begin_rad_;  // of the columns
  std::vector<float> per_width_;   // 1/rad, likewise
};

}  // namespace seamwright
