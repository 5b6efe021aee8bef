#pragma once

// What only one lens shows, or both at different places: a person who walked, a door that swung, a
// thing whose depth was not found. Each is to be taken whole from one lens.

#include <cstdint>
#include <vector>

#include "compose/seams/seam_views.h"

namespace seamwright {

struct SubjectOptions {
  /// Smoothed disagreement of the views (view_disagreement) from which on they show different
  /// things, 0…1.
  double differ = 0.5;
  int reach_px = 4;   ///< smoothing: thinner things than about this are no subjects
  int least_px = 60;  ///< smaller regions are no subjects
  /// Regions this close are one subject. Along η more, since a thing too near for its depth to be
  /// found is shown by both lenses, one above the other.
  int join_sideways_px = 6;
  int join_parallax_px = 24;
  /// Larger regions one above the other are one subject from farther away: where a thing that moved
  /// a little covers itself, the lenses agree.
  int large_px = 150;
  int join_large_parallax_px = 80;
  int outline_px = 3;       ///< room left around a subject
  double most_share = 0.5;  ///< regions larger than this share of the ribbon are no subjects
};

/// From which lens a subject is taken.
enum class TakenFrom : std::uint8_t {
  a,
  b,
  both,  ///< it spans the overlap and had to be cut: for a person to look at
};

struct MovingSubject {
  int left = 0;   ///< first column; a subject may go on over the wrap: right ≥ the width then
  int right = 0;  ///< one past the last
  int top = 0;
  int bottom = 0;
  int pixels = 0;                        ///< that differ
  std::vector<int> outline_top = {};     ///< by column from `left`: first row of the outline …
  std::vector<int> outline_bottom = {};  ///< … and one past its last
  bool reaches_a = false;  ///< goes on where only lens a sees: only lens a can have it whole
  bool reaches_b = false;
  TakenFrom taken = TakenFrom::both;

  [[nodiscard]] bool spans_overlap() const { return reaches_a && reaches_b; }
};

struct MovingSubjects {
  std::vector<MovingSubject> found;  ///< by column, then row
  Image map;                         ///< grey u8: 1 inside the outline of some subject
};

/// How much both views differ at a pixel, exposure and colour apart: grey f32, 0 agree … 1 show
/// different things. The difference of log light, less its smooth part along the ring, in units of
/// one EV. 0 where not both see.
[[nodiscard]] Image view_disagreement(const SeamViews& views);

/// Connected regions of disagreement and their convex outlines.
[[nodiscard]] MovingSubjects moving_subjects(const SeamViews& views, const Image& disagreement,
                                             const SubjectOptions& options = {});

}  // namespace seamwright
