#pragma once

// From a click in one lens' strip to the same point in the other lens.
//
// The patch around the click is looked for in the other strip by normalised cross correlation, over
// all that depth (down to the nearest distance) and the trust in the rig allow, then refined to
// sub-pixel straight in the frames (features/refine.h).

#include <optional>

#include "features/pair_match.h"
#include "projection/rig.h"
#include "sampling/lens_view.h"
#include "sampling/strip.h"

namespace seamwright::workbench {

struct MatchOptions {
  int window = 25;                       ///< ribbon px on a side, odd
  double slack_rad = rad_from_deg(1.0);  ///< trust in the rig, in parallax and sideways
  double nearest_m = 0.3;                ///< nearest object
  double nearest_baselines = 10;         ///< the same for rigs without a scale
  double least_ncc = 0.6;                ///< of the search; below it nothing was found
  double rival_share = 0.97;             ///< a second place this good makes it unsure
};

struct FoundMatch {
  PairMatch match;       ///< its correlation is that of the search where it was not refined
  double sigma_px = 0;   ///< of each end
  bool refined = false;  ///< to sub-pixel; else the search's own place
  bool unsure = false;   ///< another place looks nearly the same
};

/// Two lenses of a rig, as views and by number.
struct SearchedPair {
  const LensView& a;
  const LensView& b;
  int lens_a = 0;
  int lens_b = 1;
};

/// A pair's strips and views, made once; thread-safe afterwards.
class MatchSearch {
 public:
  /// The views must outlive it.
  MatchSearch(const SearchedPair& pair, const RibbonGrid& grid, const Rig& rig,
              const MatchOptions& options = {});

  /// `from_a`: the click is in lens a's strip. Empty where nothing alike is found.
  [[nodiscard]] std::optional<FoundMatch> find(const Vec2& click, bool from_a) const;

 private:
  struct Peak {
    int dx = 0;
    int dy = 0;
    double ncc = -1;
    bool unsure = false;
  };
  [[nodiscard]] std::optional<Peak> search(int x, int y, bool from_a) const;
  [[nodiscard]] double correlation(int x, int y, int dx, int dy, bool from_a) const;

  const LensView& a_;
  const LensView& b_;
  RibbonGrid grid_;
  MatchOptions options_;
  int sideways_px_;
  int parallax_most_px_;
  int pad_px_;
  Strip strip_a_;
  Strip strip_b_;
};

}  // namespace seamwright::workbench
