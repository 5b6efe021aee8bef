#pragma once

// One tie by itself: where it stands, how well it fits.

#include <optional>

#include "projection/rig.h"
#include "projection/tie.h"
#include "solver/shot_state.h"

namespace seamwright {

/// The unknowns of one tie.
struct TiePoint {
  Vec3 direction = Vec3::UnitZ();  ///< unit, rig frame, from the rig's origin
  double inverse_depth = 0;        ///< 1/m
  bool usable = false;             ///< every sight can be unprojected, and so is the start
};

/// Where a tie would stand with this rig: direction and inverse depth by least squares over its
/// sights (ρ ≥ 0, or 0 with fixed depth). Not usable when a sight lies outside its lens, or in a
/// shot of another network.
[[nodiscard]] TiePoint locate_tie(const Rig& rig, const Tie& tie, bool free_depth,
                                  ShotStates shots = {});

/// Residual of one sight, frame pixels (projected − observed); empty when it does not project.
[[nodiscard]] std::optional<Vec2> sight_residual_px(const Rig& rig, const Tie& tie,
                                                    std::size_t sight, const TiePoint& point,
                                                    ShotStates shots);

/// Sum of whitened squared residuals of a tie: χ² with 2·sights − 3 degrees of freedom.
[[nodiscard]] double tie_chi2(const Rig& rig, const Tie& tie, const TiePoint& point,
                              ShotStates shots);

}  // namespace seamwright
