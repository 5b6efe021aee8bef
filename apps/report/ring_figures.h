#pragma once

// What belongs to the ring where two lenses meet: how sure the seam is, where ties are, how far
// things were.

#include <string>

#include "jobs/learning/learn.h"

namespace seamwright::report {

/// Expected error of the seam at infinity over azimuth, a chart for every pair of lenses that
/// overlaps. Empty without a covariance.
[[nodiscard]] std::string seam_figures(const LearnOutcome& outcome);

/// Ties in every tenth of a turn and shot, a strip for every pair.
[[nodiscard]] std::string coverage_figures(const LearnOutcome& outcome);

/// How far away the ties' places were.
[[nodiscard]] std::string depth_figure(const LearnOutcome& outcome);

}  // namespace seamwright::report
