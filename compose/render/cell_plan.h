#pragma once

// Which lenses show a cell of the panorama, and who has which share of it.

#include <array>
#include <cstdint>
#include <memory>
#include <vector>

#include "compose/render/blend_weights.h"
#include "compose/render/pair_cell.h"
#include "compose/render/pair_field.h"
#include "projection/equirect.h"
#include "sampling/lens_reader.h"

namespace seamwright {

/// What a panorama is rendered from; the same for all of its cells. Thread-safe.
struct RenderSources {
  std::vector<std::unique_ptr<LensReader>> lenses;  ///< at most kMaxLenses
  Equirect raster;
  BlendWeights weights;
  std::vector<PairField> pairs;
};

/// How much of a cell a lens shows.
enum class Cover : std::uint8_t { none, part, all };

/// One cell, as it stands to all lenses. By lens where it is an array.
struct CellPlan {
  explicit CellPlan(const Cell& of) : cell(of) {}

  Cell cell;
  double reach_rad = 0;                            ///< of the cell around its middle
  std::array<double, kMaxLenses> margin_rad = {};  ///< in the cell's middle
  std::array<Cover, kMaxLenses> cover = {};
  std::vector<PairCell> moving = {};  ///< pairs whose ribbons touch the cell

  bool alone = false;  ///< one lens has the whole cell; `share` is not set
  std::array<bool, kMaxLenses> shares_any = {};
  std::array<RunPlane, kMaxLenses> share;  ///< set where shares_any
  int unseen = 0;                          ///< pixels that no lens shows
};

/// Sets what stands above `alone`.
void find_cover(const RenderSources& sources, CellPlan& plan);

/// Sets `alone` and what follows it; find_cover() comes first.
void share_out(const RenderSources& sources, CellPlan& plan);

}  // namespace seamwright
