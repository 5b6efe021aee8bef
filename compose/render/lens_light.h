#pragma once

#include <cstddef>

#include "compose/render/cell_plan.h"

namespace seamwright {

/// Adds to `light` what a lens shows of a planned cell, after warp and tone, by its shares. `light`
/// begins with zeros; a lens that has the cell alone overwrites it.
void add_lens(const RenderSources& sources, const CellPlan& plan, std::size_t lens,
              RunColours& light);

}  // namespace seamwright
