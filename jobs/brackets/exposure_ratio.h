#pragma once

#include <optional>
#include <span>

#include "jobs/brackets/exposed.h"
#include "jobs/brackets/noise_model.h"

namespace seamwright {

/// A ratio of exposures as the pixels tell it.
struct MeasuredRatio {
  double ratio = 1;     ///< shorter / longer
  double sigma_ev = 0;  ///< standard error
  int tiles = 0;        ///< that agreed on it
};

/// Measures shorter / longer on tiles of 16 × 16 pixels, all of whose pixels lie below
/// `clip_level` in the longer frame, are not black in the shorter one, and whose ratio is known to
/// 3 % or better. Each tile gives a ratio of sums (which noise does not bias as a mean of ratios
/// would be); the weighted median over tiles is refined by a robust mean (Huber's weights), so that
/// moving subjects do not count. Empty when fewer than 20 tiles serve.
[[nodiscard]] std::optional<MeasuredRatio> measure_ratio(const Exposed& shorter,
                                                         const Exposed& longer,
                                                         const NoiseModel& noise,
                                                         double clip_level);

}  // namespace seamwright
