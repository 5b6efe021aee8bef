#pragma once

// Which plumb lines a solution believes, and how large their noise really is.
//
// Neighbouring points of a line are not independent: an edge that is not quite straight, or that
// changes its partner along the way, errs alike over some length. So a line is judged by the means
// of batches of successive points, whose scatter holds that. Edges differ: each line's noise is its
// own, leaning towards that of all lines as if that had been seen on a few batches more (the
// posterior mean of an inverse-gamma prior).

#include <span>
#include <vector>

#include "projection/plumb_line.h"
#include "solver/inliers.h"

namespace seamwright {

/// What became of the lines.
struct LineQuality {
  int used = 0;
  int rejected = 0;
  double rms_px = 0;  ///< distance of the used lines' points from their great circles
  double spread = 0;  ///< robust ratio of shown to claimed noise, batch means
};

class LineEvidence {
 public:
  explicit LineEvidence(std::span<const PlumbLine> lines);

  /// Those still believed, with the noise that they show.
  [[nodiscard]] std::span<const PlumbLine> used() const { return used_; }

  /// `normals`: of the used lines in a solution. Lines that fit worse than `reject_sigmas` leave.
  void judge(const Rig& rig, const std::vector<Vec3>& normals, double reject_sigmas);

  [[nodiscard]] LineQuality quality(const Rig& rig, const std::vector<Vec3>& normals) const;

 private:
  [[nodiscard]] TieMisfit fit_of(std::size_t used, const Rig& rig, const Vec3& normal) const;
  [[nodiscard]] std::vector<TieMisfit> fits_of_all(const Rig& rig,
                                                   const std::vector<Vec3>& normals) const;

  std::vector<PlumbLine> claimed_;  // the noise as found; parallel to used_
  std::vector<PlumbLine> used_;
  int rejected_ = 0;
};

}  // namespace seamwright
