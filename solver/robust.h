#pragma once

namespace seamwright {

/// A sum of squares under Cauchy's loss: what it costs, and the share with which its rows count.
struct Robust {
  double cost = 0;
  double weight = 1;
};

/// `scale` in sigmas; 0: no loss.
[[nodiscard]] Robust robust(double square, double scale);

}  // namespace seamwright
