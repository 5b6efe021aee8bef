#pragma once

#include <array>
#include <cstddef>

#include "projection/conventions.h"

namespace seamwright {

/// The longest run, and room behind it that kernels may read and write.
inline constexpr std::size_t kMostRun = 1024;
inline constexpr std::size_t kRunSlack = 16;

/// One float a position.
using RunPlane = std::array<float, kMostRun + kRunSlack>;

/// Source positions (continuous pixels of green) relative to an anchor near them, so that a float
/// holds them to 1e-5 px.
struct SourceRun {
  int anchor_x = 0;
  int anchor_y = 0;
  std::size_t count = 0;  ///< at most kMostRun
  RunPlane x;
  RunPlane y;

  void anchor(const Vec2& near_px) {
    anchor_x = static_cast<int>(near_px.x());
    anchor_y = static_cast<int>(near_px.y());
  }
  void set(std::size_t i, const Vec2& px) {
    x[i] = static_cast<float>(px.x() - anchor_x);
    y[i] = static_cast<float>(px.y() - anchor_y);
  }
  [[nodiscard]] Vec2 at(std::size_t i) const {
    return {anchor_x + static_cast<double>(x[i]), anchor_y + static_cast<double>(y[i])};
  }
};

}  // namespace seamwright
