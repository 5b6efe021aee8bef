#include "jobs/brackets/exposure.h"

#include <cmath>

namespace seamwright {

std::optional<double> relative_exposure(const FrameInfo& info) {
  if (!info.exposure_s || !(*info.exposure_s > 0)) return std::nullopt;
  constexpr double kBaseIso = 100;
  const double speed = info.iso.value_or(kBaseIso) / kBaseIso;
  const double f_number = info.f_number.value_or(1.0);
  return *info.exposure_s * speed / (f_number * f_number);
}

double ev_between(double exposure, double reference) { return std::log2(exposure / reference); }

}  // namespace seamwright
