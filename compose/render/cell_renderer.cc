#include "compose/render/cell_renderer.h"

#include <array>
#include <cassert>
#include <cstdint>
#include <utility>

#include "compose/render/cell_samples.h"
#include "compose/render/lens_light.h"

namespace seamwright {

CellRenderer::CellRenderer(std::vector<std::unique_ptr<LensReader>> lenses, const Equirect& raster,
                           const BlendWeights& weights, const TransferCurve& transfer,
                           const SeamPlan* seams)
    : sources_{std::move(lenses), raster, weights, {}}, transfer_(transfer) {
  assert(sources_.lenses.size() <= kMaxLenses);
  if (seams == nullptr) return;
  for (const PairSeam& seam : seams->pairs) {
    sources_.pairs.emplace_back(seam, raster.width / (2 * kPi));
  }
}

int CellRenderer::render(const Cell& cell, Image& band, int band_top) const {
  CellPlan plan(cell);
  find_cover(sources_, plan);
  share_out(sources_, plan);
  RunColours light{};
  for (std::size_t lens = 0; lens < sources_.lenses.size(); ++lens) {
    if (plan.shares_any[lens]) add_lens(sources_, plan, lens, light);
  }
  write_cell(cell, light, {}, transfer_, band_top, band);
  return plan.unseen;
}

void CellRenderer::render_layer(const Cell& cell, std::size_t lens, Image& band,
                                int band_top) const {
  CellPlan plan(cell);
  find_cover(sources_, plan);
  const LensMap& map = sources_.lenses[lens]->map;
  std::array<float, Cell::kPixels> alpha{};
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const Vec3 direction = sources_.raster.direction({cell.x + column + 0.5, cell.y + row + 0.5});
      const bool seen = plan.cover[lens] == Cover::all ||
                        (plan.cover[lens] == Cover::part && map.source_px(direction));
      const std::size_t i = Cell::index(column, row);
      alpha[i] = seen ? 1.0F : 0.0F;
      plan.share[lens][i] = alpha[i];
    }
  }
  RunColours light{};
  if (plan.cover[lens] != Cover::none) add_lens(sources_, plan, lens, light);
  write_cell(cell, light, alpha, transfer_, band_top, band);
}

void CellRenderer::render_mask(const Cell& cell, std::size_t lens, Image& band,
                               int band_top) const {
  CellPlan plan(cell);
  find_cover(sources_, plan);
  share_out(sources_, plan);
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const float all = plan.shares_any[lens] ? 1.0F : 0.0F;
      const float share = plan.alone ? all : plan.share[lens][Cell::index(column, row)];
      const auto x = static_cast<std::size_t>(cell.x + column);
      const int y = cell.y + row - band_top;
      if (band.type() == SampleType::f32) {
        band.row<float>(y)[x] = share;
      } else {
        band.row<std::uint16_t>(y)[x] = sample_of<std::uint16_t>(share);
      }
    }
  }
}

}  // namespace seamwright
