#include "solver/shared_error.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "projection/conventions.h"

namespace seamwright {

double design_effect(std::span<const RingResidual> residuals, int fitted) {
  constexpr int kSectors = 16;
  std::map<std::tuple<int, int, int>, double> sums;
  double squares = 0;
  for (const RingResidual& one : residuals) {
    const double turns = one.psi_rad / (2 * kPi);
    const int sector = static_cast<int>((turns - std::floor(turns)) * kSectors) % kSectors;
    sums[{one.lens_a, one.lens_b, sector}] += one.sigmas;
    squares += one.sigmas * one.sigmas;
  }
  const auto sectors = static_cast<double>(sums.size());
  if (!(squares > 0) || sectors <= fitted) return 1;
  double together = 0;
  for (const auto& [sector, sum] : sums) together += sum * sum;
  const auto left = [&](double count) { return 1 - fitted / count; };
  const double scale = left(static_cast<double>(residuals.size())) / left(sectors);
  return std::max(1.0, scale * together / squares);
}

}  // namespace seamwright
