#pragma once

// What belongs to one lens: where its ties are and how they miss, its fringes, its vignetting.

#include <string>

#include "jobs/learning/learn.h"

namespace seamwright::report {

/// Residuals of the inliers over the lens' frame, exaggerated; with its caption.
[[nodiscard]] std::string residual_figure(const LearnOutcome& outcome, int lens);

/// Red and blue against green over the radius, px of the frame.
[[nodiscard]] std::string fringe_figure(const LearnOutcome& outcome, int lens);

/// Brightness over the radius, all lenses in one chart.
[[nodiscard]] std::string vignetting_figure(const LearnOutcome& outcome);

}  // namespace seamwright::report
