#include "compose/render/cell_renderer.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>

#include "compose/render/moved_sources.h"
#include "compose/render/pair_cell.h"

namespace seamwright {

namespace {

template <class T>
T encoded(float code) {
  constexpr float kWhite = static_cast<float>(std::numeric_limits<T>::max());
  if (!(code > 0.0F)) return 0;  // NaN too
  return static_cast<T>(std::min(code, 1.0F) * kWhite + 0.5F);
}
template <>
float encoded<float>(float code) {
  return code;
}

// `alpha` is left out where the band has none.
template <class T>
void write_rows(const Cell& cell, const RunColours& light, std::span<const float> alpha,
                const TransferCurve& transfer, int band_top, Image& band) {
  const int channels = band.channel_count();
  const int colours = has_alpha(band.channels()) ? channels - 1 : channels;
  for (int row = 0; row < cell.height; ++row) {
    T* out = band.row<T>(cell.y + row - band_top).data() + cell.x * channels;
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      for (int c = 0; c < colours; ++c) {
        *out++ = encoded<T>(transfer.from_linear(light[static_cast<std::size_t>(c)][i], c));
      }
      if (colours < channels) *out++ = encoded<T>(alpha[i]);
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

// The tones that make of light what `tones` and then `next` make of it.
void follow(const RunTones& next, RunTones& tones) {
  for (std::size_t i = 0; i < tones.gain.size(); ++i) {
    tones.add[i] = tones.add[i] * next.gain[i] + next.add[i];
    tones.gain[i] *= next.gain[i];
  }
}

Vec3 moved(const RibbonAxes& axes, const Vec3& direction, float shift_rad) {
  const auto shift = static_cast<double>(shift_rad);
  return std::cos(shift) * direction + std::sin(shift) * axes.parallax(direction);
}

}  // namespace

// What is known of one cell while it is rendered.
struct CellRenderer::Work {
  enum class View : std::uint8_t { outside, partly, inside };

  std::array<double, kMaxLenses> margin{};  // of each lens in the middle of the cell
  double reach_rad = 0;                     // of the cell
  std::array<View, kMaxLenses> view{};      // of the cell by each lens
  std::array<bool, kMaxLenses> shares_any{};
  std::array<RunPlane, kMaxLenses> share;  // set where shares_any
  std::vector<PairCell> moving{};          // pairs whose ribbons touch the cell
  bool alone = false;                      // one lens has the whole cell; `share` is not set
  int unseen = 0;
  RunColours light{};

  // Of the lens being added.
  SourceRun sources;
  std::size_t listed;                              // pixels that are read, where not all are …
  std::array<std::uint16_t, Cell::kPixels> pixel;  // … and which
  RunTones tones;
  RunColours of_lens;
};

CellRenderer::CellRenderer(std::vector<std::unique_ptr<LensReader>> lenses, const Equirect& raster,
                           const BlendWeights& weights, const TransferCurve& transfer,
                           const SeamPlan* seams)
    : lenses_(std::move(lenses)),
      raster_(raster),
      direction_at_([raster](const Vec2& px) { return raster.direction(px); }),
      weights_(weights),
      transfer_(transfer) {
  assert(lenses_.size() <= kMaxLenses);
  if (seams == nullptr) return;
  for (const PairSeam& seam : seams->pairs) pairs_.emplace_back(seam, raster.width / (2 * kPi));
}

int CellRenderer::render(const Cell& cell, Image& band, int band_top) const {
  Work work;
  share_out(cell, work);
  for (std::size_t lens = 0; lens < lenses_.size(); ++lens) {
    if (work.shares_any[lens]) add_lens(lens, cell, work);
  }
  write(cell, work, {}, band_top, band);
  return work.unseen;
}

void CellRenderer::render_layer(const Cell& cell, std::size_t lens, Image& band,
                                int band_top) const {
  Work work;
  look_at(cell, work);
  const LensMap& map = lenses_[lens]->map;
  std::array<float, Cell::kPixels> alpha{};
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const Vec3 direction = raster_.direction({cell.x + column + 0.5, cell.y + row + 0.5});
      const bool seen = work.view[lens] == Work::View::inside ||
                        (work.view[lens] == Work::View::partly && map.source_px(direction));
      const std::size_t i = Cell::index(column, row);
      alpha[i] = seen ? 1.0F : 0.0F;
      work.share[lens][i] = seen ? 1.0F : 0.0F;
    }
  }
  if (work.view[lens] != Work::View::outside) add_lens(lens, cell, work);
  write(cell, work, alpha, band_top, band);
}

void CellRenderer::render_mask(const Cell& cell, std::size_t lens, Image& band,
                               int band_top) const {
  Work work;
  share_out(cell, work);
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const float all = work.shares_any[lens] ? 1.0F : 0.0F;
      const float share = work.alone ? all : work.share[lens][Cell::index(column, row)];
      const auto x = static_cast<std::size_t>(cell.x + column);
      const int y = cell.y + row - band_top;
      if (band.type() == SampleType::f32) {
        band.row<float>(y)[x] = share;
      } else {
        band.row<std::uint16_t>(y)[x] = encoded<std::uint16_t>(share);
      }
    }
  }
}

// Margins change by at most the angle moved, so the one in the middle of the cell bounds the
// others.
void CellRenderer::look_at(const Cell& cell, Work& work) const {
  const double reach = cell.reach_rad(raster_);
  const Vec3 middle = raster_.direction(cell.middle());
  work.reach_rad = reach;
  look_up_pairs(cell, middle, reach, work);
  for (std::size_t i = 0; i < lenses_.size(); ++i) {
    work.margin[i] = lenses_[i]->map.margin_rad(middle);
    work.view[i] = work.margin[i] > reach    ? Work::View::inside
                   : work.margin[i] < -reach ? Work::View::outside
                                             : Work::View::partly;
  }
}

void CellRenderer::share_out(const Cell& cell, Work& work) const {
  look_at(cell, work);
  const double reach = cell.reach_rad(raster_);
  const auto& margin = work.margin;
  const auto best = static_cast<std::size_t>(
      std::max_element(margin.begin(),
                       margin.begin() + static_cast<std::ptrdiff_t>(lenses_.size())) -
      margin.begin());
  work.alone = work.view[best] == Work::View::inside;
  for (std::size_t i = 0; i < lenses_.size(); ++i) {
    if (i == best || work.view[i] == Work::View::outside) continue;
    const double least_lead = margin[best] - margin[i] - 2 * reach;
    if (least_lead < 2 * weights_.half_width_rad()) work.alone = false;
  }
  if (!work.moving.empty()) work.alone = false;
  if (work.alone) {
    work.shares_any[best] = true;
  } else if (!share_out_along_seam(cell, work)) {
    work.unseen = share_out_by_pixel(cell, best, work);
  }
}

// True where a lens that sees all of the cell leads the others by so much in every pixel that their
// shares are zero. `margins` is set for lenses that see all of it.
bool CellRenderer::has_it_alone(std::size_t lens, const Cell& cell, const Work& work,
                                std::span<const RunPlane> margins) const {
  if (!work.moving.empty() || work.view[lens] != Work::View::inside) return false;
  const auto lead = static_cast<float>(2 * weights_.half_width_rad() + kMarginBound_rad);
  for (std::size_t i = 0; i < lenses_.size(); ++i) {
    if (i == lens || work.view[i] == Work::View::outside) continue;
    if (work.view[i] == Work::View::partly) return false;
    for (int row = 0; row < cell.height; ++row) {
      const float* ours = &margins[lens][Cell::index(0, row)];
      const float* theirs = &margins[i][Cell::index(0, row)];
      for (int column = 0; column < cell.width; ++column) {
        if (ours[column] - theirs[column] < lead) return false;
      }
    }
  }
  return true;
}

// Where no third lens sees a cell, and the walk between two is at full strength, their seam alone
// says who has what: if both see all of the cell, or the one that does has it all. False elsewhere.
bool CellRenderer::share_out_along_seam(const Cell& cell, Work& work) const {
  if (work.moving.size() != 1 || !work.moving.front().whole()) return false;
  const PairCell& pair = work.moving.front();
  const std::size_t a = pair.lens_a();
  const std::size_t b = pair.lens_b();
  for (std::size_t i = 0; i < lenses_.size(); ++i) {
    if (i != a && i != b && work.view[i] != Work::View::outside) return false;
  }
  const bool a_inside = work.view[a] == Work::View::inside;
  const bool b_inside = work.view[b] == Work::View::inside;
  const bool hides = a_inside && b_inside && !pair.shown_by_both();
  const auto owner = pair.beside_seam();
  if (owner && !hides && cell.width == Cell::kSize) {
    work.alone = work.view[*owner] == Work::View::inside;
    work.shares_any[*owner] = work.alone;
    return work.alone;
  }
  pair.seam_shares(work.share[a]);
  bool any_a = false;
  bool any_b = false;
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      float& share = work.share[a][i];
      if (hides) share = static_cast<float>(pair.share_of_a(i, share, 1 - share));
      work.share[b][i] = 1 - share;
      any_a = any_a || share > 0;
      any_b = any_b || share < 1;
    }
  }
  if ((any_a && !a_inside) || (any_b && !b_inside)) return false;
  work.shares_any[a] = any_a;
  work.shares_any[b] = any_b;
  return true;
}

int CellRenderer::share_out_by_pixel(const Cell& cell, std::size_t best, Work& work) const {
  int unseen = 0;
  std::array<double, kMaxLenses> margin{};
  std::array<double, kMaxLenses> share{};
  std::vector<RunPlane> margins(lenses_.size());
  for (std::size_t i = 0; i < lenses_.size(); ++i) {
    if (work.view[i] == Work::View::inside) {
      fill_margins(lenses_[i]->map, raster_, cell, margins[i]);
    }
  }
  work.alone = has_it_alone(best, cell, work, margins);
  work.shares_any[best] = work.alone;
  if (work.alone) return 0;
  std::vector<PairStep> known(work.moving.size());
  std::vector<RunPlane> seam(work.moving.size());  // shares of lens a
  for (std::size_t i = 0; i < known.size(); ++i) work.moving[i].seam_shares(seam[i]);
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t pixel = Cell::index(column, row);
      for (std::size_t i = 0; i < lenses_.size(); ++i) {
        margin[i] = work.view[i] == Work::View::outside ? -1.0
                    : work.view[i] == Work::View::inside
                        ? static_cast<double>(margins[i][pixel])
                        : lenses_[i]->map.margin_rad(
                              raster_.direction({cell.x + column + 0.5, cell.y + row + 0.5}));
      }
      for (std::size_t i = 0; i < known.size(); ++i) {
        const PairCell& pair = work.moving[i];
        known[i] = {.a = pair.lens_a(),
                    .b = pair.lens_b(),
                    .share_a = static_cast<double>(seam[i][pixel]),
                    .weight = static_cast<double>(pair.strength(pixel))};
      }
      weights_.at({margin.data(), lenses_.size()}, {share.data(), lenses_.size()}, known);
      prefer_who_sees(work, pixel, {share.data(), lenses_.size()});
      bool seen = false;
      for (std::size_t i = 0; i < lenses_.size(); ++i) {
        work.share[i][pixel] = static_cast<float>(share[i]);
        work.shares_any[i] |= share[i] > 0;
        seen |= share[i] > 0;
      }
      unseen += seen ? 0 : 1;
    }
  }
  return unseen;
}

void CellRenderer::look_up_pairs(const Cell& cell, const Vec3& middle, double reach_rad,
                                 Work& work) const {
  for (const PairField& pair : pairs_) {
    if (pair.touches(middle, reach_rad)) work.moving.emplace_back(pair, raster_, cell);
  }
}

// Where something hides a point from one lens of a pair, the other has it alone.
void CellRenderer::prefer_who_sees(const Work& work, std::size_t pixel, std::span<double> share) {
  for (const PairCell& pair : work.moving) {
    const std::size_t a = pair.lens_a();
    const std::size_t b = pair.lens_b();
    if (work.view[a] != Work::View::inside || work.view[b] != Work::View::inside) continue;
    const double sum = share[a] + share[b];
    if (sum <= 0 || pair.shown_by_both()) continue;
    const double of_a = pair.share_of_a(pixel, share[a], share[b]);
    if (of_a == share[a]) continue;  // as nearly everywhere
    share[a] = of_a;
    share[b] = sum - of_a;
  }
}

void CellRenderer::add_lens(std::size_t lens, const Cell& cell, Work& work) const {
  const bool moves = std::any_of(work.moving.begin(), work.moving.end(),
                                 [lens](const PairCell& pair) { return pair.has(lens); });
  if (!moves && work.view[lens] == Work::View::inside) {
    add_whole(lens, cell, work);
  } else {
    add_some(lens, cell, work);
  }
}

// Reads the lens for all of the cell, shared or not.
void CellRenderer::add_whole(std::size_t lens, const Cell& cell, Work& work) const {
  fill_sources(lenses_[lens]->map, direction_at_, cell, work.sources);
  RunColours& light = work.alone ? work.light : work.of_lens;
  lenses_[lens]->shader.light(work.sources, {}, light);
  if (work.alone) return;
  const RunPlane& share = work.share[lens];
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t i = 0; i < work.sources.count; ++i) {
      work.light[c][i] += share[i] > 0 ? share[i] * light[c][i] : 0.0F;
    }
  }
}

// Reads the lens for the pixels in which it has a share.
void CellRenderer::add_some(std::size_t lens, const Cell& cell, Work& work) const {
  list_pixels(lens, cell, work);
  if (work.listed == 0) return;
  if (!locate_smoothly(lens, cell, work)) locate_exactly(lens, cell, work);
  const ToneRun tone = read_tones(lens, work);
  RunColours& light = work.alone ? work.light : work.of_lens;
  lenses_[lens]->shader.light(work.sources, tone, light);
  if (work.alone) return;
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t k = 0; k < work.listed; ++k) {
      const std::size_t i = work.pixel[k];
      work.light[c][i] += work.share[lens][i] * light[c][k];
    }
  }
}

// A cell that a lens has alone is as wide as cells are: its pixels are those of a run.
void CellRenderer::list_pixels(std::size_t lens, const Cell& cell, Work& work) {
  work.listed = 0;
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      work.pixel[work.listed] = static_cast<std::uint16_t>(i);
      work.listed += work.alone || work.share[lens][i] > 0 ? 1 : 0;
    }
  }
}

// Where one pair moves the lens, and it sees the cell wherever it is moved to.
bool CellRenderer::locate_smoothly(std::size_t lens, const Cell& cell, Work& work) const {
  const PairCell* mover = nullptr;
  for (const PairCell& pair : work.moving) {
    if (!pair.has(lens)) continue;
    if (mover != nullptr) return false;
    mover = &pair;
  }
  if (mover == nullptr || work.view[lens] != Work::View::inside) return false;
  RunPlane shifts;
  mover->shifts(lens, shifts);
  SourceRun& run = work.sources;
  const double room = work.margin[lens] - work.reach_rad;
  if (!fill_moved_sources(lenses_[lens]->map, mover->axes(), direction_at_, cell, shifts, room,
                          run)) {
    return false;
  }
  keep_listed<1>({work.pixel.data(), work.listed}, run.x.data());
  keep_listed<1>({work.pixel.data(), work.listed}, run.y.data());
  run.count = work.listed;
  return true;
}

// Pairs' shifts follow one another, as their tones do.
void CellRenderer::locate_exactly(std::size_t lens, const Cell& cell, Work& work) const {
  const LensMap& map = lenses_[lens]->map;
  struct Mover {
    const RibbonAxes* axes;
    RunPlane shifts;
  };
  std::vector<Mover> movers;
  for (const PairCell& pair : work.moving) {
    if (pair.has(lens)) pair.shifts(lens, movers.emplace_back(Mover{&pair.axes(), {}}).shifts);
  }
  SourceRun& run = work.sources;
  run.count = work.listed;
  for (std::size_t k = 0; k < run.count; ++k) {
    const std::size_t i = work.pixel[k];
    const auto row = static_cast<int>(i) / Cell::kSize;
    const auto column = static_cast<int>(i) % Cell::kSize;
    const Vec3 direction = raster_.direction({cell.x + column + 0.5, cell.y + row + 0.5});
    Vec3 read = direction;
    for (const Mover& mover : movers) {
      if (mover.shifts[i] != 0) read = moved(*mover.axes, read, mover.shifts[i]);
    }
    auto px = map.source_px(read);
    if (!px) px = map.source_px(direction);  // the shift leads out of the field
    assert(px && "a lens with a share sees the pixel");
    const Vec2 at = px.value_or(map.lens().centre_px());
    if (k == 0) run.anchor(at);
    run.set(k, at);
  }
}

// What all pairs' blends make of the listed pixels, one after the other.
ToneRun CellRenderer::read_tones(std::size_t lens, Work& work) {
  bool any = false;
  for (const PairCell& pair : work.moving) {
    if (!pair.has(lens)) continue;
    if (!any) {
      any = pair.tones(lens, work.tones);
    } else if (RunTones next; pair.tones(lens, next)) {
      follow(next, work.tones);
    }
  }
  if (!any) return {};
  keep_listed<RunTones::kFloats>({work.pixel.data(), work.listed}, work.tones.gain.data());
  keep_listed<RunTones::kFloats>({work.pixel.data(), work.listed}, work.tones.add.data());
  return work.tones.run();
}

void CellRenderer::write(const Cell& cell, const Work& work, std::span<const float> alpha,
                         int band_top, Image& band) const {
  if (band.type() == SampleType::f32) {
    return write_rows<float>(cell, work.light, alpha, transfer_, band_top, band);
  }
  if (has_alpha(band.channels())) {
    return write_rows<std::uint16_t>(cell, work.light, alpha, transfer_, band_top, band);
  }
  const int channels = band.channel_count();
  for (int row = 0; row < cell.height; ++row) {
    encode_run(work.light, Cell::index(0, row), static_cast<std::size_t>(cell.width), channels,
               {transfer_.table(0), transfer_.table(1), transfer_.table(2)},
               band.row<std::uint16_t>(cell.y + row - band_top).data() + cell.x * channels);
  }
}

}  // namespace seamwright
