#include "compose/render/lens_light.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

#include "compose/render/moved_sources.h"

namespace seamwright {

namespace {

// The pixels of a cell that are read from a lens, in order of Cell::index.
struct ListedPixels {
  std::size_t count = 0;
  std::array<std::uint16_t, Cell::kPixels> pixel;

  [[nodiscard]] std::span<const std::uint16_t> all() const { return {pixel.data(), count}; }
};

// A cell that a lens has alone is as wide as cells are: its pixels are those of a run.
void list_pixels(const CellPlan& plan, std::size_t lens, ListedPixels& listed) {
  for (int row = 0; row < plan.cell.height; ++row) {
    for (int column = 0; column < plan.cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      listed.pixel[listed.count] = static_cast<std::uint16_t>(i);
      listed.count += plan.alone || plan.share[lens][i] > 0 ? 1 : 0;
    }
  }
}

// Moves what is listed of a run's positions, kFloats each, to its front.
template <std::size_t kFloats>
void keep_listed(std::span<const std::uint16_t> listed, float* values) {
  if (listed.back() + 1U == listed.size()) return;  // all of them
  for (std::size_t k = 0; k < listed.size(); ++k) {
    for (std::size_t c = 0; c < kFloats; ++c)
      values[kFloats * k + c] = values[kFloats * listed[k] + c];
  }
}

DirectionAt directions(const Equirect& raster) {
  return [&raster](const Vec2& px) { return raster.direction(px); };
}

// The one pair that moves a lens; null where there is none, or more than one.
const PairCell* only_mover(const CellPlan& plan, std::size_t lens) {
  const PairCell* mover = nullptr;
  for (const PairCell& pair : plan.moving) {
    if (!pair.has(lens)) continue;
    if (mover != nullptr) return nullptr;
    mover = &pair;
  }
  return mover;
}

// Where one pair moves the lens, and it sees the cell wherever it is moved to; false elsewhere.
bool locate_smoothly(const RenderSources& sources, const CellPlan& plan, std::size_t lens,
                     const ListedPixels& listed, SourceRun& run) {
  const PairCell* mover = only_mover(plan, lens);
  if (mover == nullptr || plan.cover[lens] != Cover::all) return false;
  RunPlane shifts;
  mover->shifts(lens, shifts);
  const double room = plan.margin_rad[lens] - plan.reach_rad;
  if (!fill_moved_sources(sources.lenses[lens]->map, directions(sources.raster), plan.cell,
                          {mover->axes(), shifts}, room, run)) {
    return false;
  }
  keep_listed<1>(listed.all(), run.x.data());
  keep_listed<1>(listed.all(), run.y.data());
  run.count = listed.count;
  return true;
}

// By how much a pair moves a lens in each pixel.
struct Mover {
  const RibbonAxes* axes;
  RunPlane shifts;
};

Vec3 moved(const Vec3& direction, const Mover& by, std::size_t pixel) {
  if (by.shifts[pixel] == 0) return direction;
  const auto shift = static_cast<double>(by.shifts[pixel]);
  return std::cos(shift) * direction + std::sin(shift) * by.axes->parallax(direction);
}

// Pairs' shifts follow one another, as their tones do.
void locate_exactly(const RenderSources& sources, const CellPlan& plan, std::size_t lens,
                    const ListedPixels& listed, SourceRun& run) {
  const LensMap& map = sources.lenses[lens]->map;
  std::vector<Mover> movers;
  for (const PairCell& pair : plan.moving) {
    if (pair.has(lens)) pair.shifts(lens, movers.emplace_back(Mover{&pair.axes(), {}}).shifts);
  }
  run.count = listed.count;
  for (std::size_t k = 0; k < run.count; ++k) {
    const std::size_t i = listed.pixel[k];
    const auto row = static_cast<int>(i) / Cell::kSize;
    const auto column = static_cast<int>(i) % Cell::kSize;
    const Vec3 direction =
        sources.raster.direction({plan.cell.x + column + 0.5, plan.cell.y + row + 0.5});
    Vec3 read = direction;
    for (const Mover& mover : movers) read = moved(read, mover, i);
    auto px = map.source_px(read);
    if (!px) px = map.source_px(direction);  // the shift leads out of the field
    assert(px && "a lens with a share sees the pixel");
    const Vec2 at = px.value_or(map.lens().centre_px());
    if (k == 0) run.anchor(at);
    run.set(k, at);
  }
}

// The tones that make of light what `tones` and then `next` make of it.
void follow(const RunTones& next, RunTones& tones) {
  for (std::size_t i = 0; i < tones.gain.size(); ++i) {
    tones.add[i] = tones.add[i] * next.gain[i] + next.add[i];
    tones.gain[i] *= next.gain[i];
  }
}

// What all pairs' blends make of the listed pixels, one after the other; false: nothing.
bool read_tones(const CellPlan& plan, std::size_t lens, const ListedPixels& listed,
                RunTones& tones) {
  bool any = false;
  for (const PairCell& pair : plan.moving) {
    if (!pair.has(lens)) continue;
    if (!any) {
      any = pair.tones(lens, tones);
    } else if (RunTones next; pair.tones(lens, next)) {
      follow(next, tones);
    }
  }
  if (!any) return false;
  keep_listed<RunTones::kFloats>(listed.all(), tones.gain.data());
  keep_listed<RunTones::kFloats>(listed.all(), tones.add.data());
  return true;
}

// Reads the lens for all of the cell, shared or not.
void add_whole(const RenderSources& sources, const CellPlan& plan, std::size_t lens,
               RunColours& light) {
  SourceRun run;
  fill_sources(sources.lenses[lens]->map, directions(sources.raster), plan.cell, run);
  if (plan.alone) return sources.lenses[lens]->shader.light(run, {}, light);
  RunColours of_lens;
  sources.lenses[lens]->shader.light(run, {}, of_lens);
  const RunPlane& share = plan.share[lens];
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t i = 0; i < run.count; ++i) {
      light[c][i] += share[i] > 0 ? share[i] * of_lens[c][i] : 0.0F;
    }
  }
}

// Reads the lens for the pixels in which it has a share.
void add_some(const RenderSources& sources, const CellPlan& plan, std::size_t lens,
              RunColours& light) {
  ListedPixels listed;
  list_pixels(plan, lens, listed);
  if (listed.count == 0) return;
  SourceRun run;
  if (!locate_smoothly(sources, plan, lens, listed, run)) {
    locate_exactly(sources, plan, lens, listed, run);
  }
  RunTones tones;
  const ToneRun tone = read_tones(plan, lens, listed, tones) ? tones.run() : ToneRun{};
  if (plan.alone) return sources.lenses[lens]->shader.light(run, tone, light);
  RunColours of_lens;
  sources.lenses[lens]->shader.light(run, tone, of_lens);
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t k = 0; k < listed.count; ++k) {
      const std::size_t i = listed.pixel[k];
      light[c][i] += plan.share[lens][i] * of_lens[c][k];
    }
  }
}

}  // namespace

void add_lens(const RenderSources& sources, const CellPlan& plan, std::size_t lens,
              RunColours& light) {
  const bool moves = std::any_of(plan.moving.begin(), plan.moving.end(),
                                 [lens](const PairCell& pair) { return pair.has(lens); });
  if (!moves && plan.cover[lens] == Cover::all) {
    add_whole(sources, plan, lens, light);
  } else {
    add_some(sources, plan, lens, light);
  }
}

}  // namespace seamwright
