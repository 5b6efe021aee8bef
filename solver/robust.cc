#include "solver/robust.h"

#include <array>

#include <ceres/loss_function.h>

namespace seamwright {

Robust robust(double square, double scale) {
  if (scale <= 0) return {square, 1};
  std::array<double, 3> loss{};
  ceres::CauchyLoss(scale).Evaluate(square, loss.data());
  return {loss[0], loss[1]};
}

}  // namespace seamwright
