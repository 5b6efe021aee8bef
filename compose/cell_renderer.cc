#include "compose/cell_renderer.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>

#include "compose/moved_sources.h"

namespace seamwright {

namespace {

constexpr std::size_t kMaxLenses = 8;

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

}  // namespace

LensReader::LensReader(const MountedLens& mounted, const Image& image, ResampleKernel kind,
                       double panorama_px_per_rad, const TransferCurve& transfer,
                       const ChannelGains& gains)
    : map(mounted),
      kernel(kind, map.typical_px_per_rad() / panorama_px_per_rad),
      sampler(image, kernel),
      shader(map, sampler, transfer, gains, image.type() != SampleType::f32) {}

// What is known of one cell while it is rendered.
struct CellRenderer::Work {
  enum class View : std::uint8_t { outside, partly, inside };

  std::array<double, kMaxLenses> margin{};  // of each lens in the middle of the cell
  double reach_rad = 0;                     // of the cell
  std::array<View, kMaxLenses> view{};      // of the cell by each lens
  std::array<bool, kMaxLenses> shares_any{};
  std::array<RunPlane, kMaxLenses> share;  // set where shares_any
  struct Moving {
    const PairField* pair = nullptr;
    bool whole = true;  // the walk is at full strength in all of the cell
    std::array<PairField::Place, Cell::kPixels> place = {};
  };
  std::vector<Moving> moving{};  // pairs whose ribbons touch the cell
  bool alone = false;            // one lens has the whole cell; `share` is not set
  int unseen = 0;
  RunColours light{};

  // Of the lens being added.
  SourceRun sources;
  std::array<std::uint16_t, Cell::kPixels> pixel;  // of each position, where not all are read
  MovedSources moved;
  RunColours tone_gain;
  RunColours tone_add;
  RunColours of_lens;
};

CellRenderer::CellRenderer(std::vector<std::unique_ptr<LensReader>> lenses, const Equirect& raster,
                           const BlendWeights& weights, const TransferCurve& transfer,
                           const SeamPlan* seams)
    : lenses_(std::move(lenses)), raster_(raster), weights_(weights), transfer_(transfer) {
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
  if (!work.alone && !share_out_along_seam(cell, work)) {
    work.unseen = share_out_by_pixel(cell, best, work);
  }
  if (work.alone) work.shares_any[best] = true;
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
  if (work.moving.size() != 1 || !work.moving.front().whole) return false;
  const Work::Moving& moving = work.moving.front();
  const std::size_t a = moving.pair->lens_a();
  const std::size_t b = moving.pair->lens_b();
  for (std::size_t i = 0; i < lenses_.size(); ++i) {
    if (i != a && i != b && work.view[i] != Work::View::outside) return false;
  }
  const bool a_inside = work.view[a] == Work::View::inside;
  const bool b_inside = work.view[b] == Work::View::inside;
  bool any_a = false;
  bool any_b = false;
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      const PairField::Place& place = moving.place[i];
      double share = moving.pair->step(place).share_a;
      if (a_inside && b_inside) {
        share = moving.pair->shown(place).share_of_a(share, 1 - share);
      }
      any_a = any_a || share > 0;
      any_b = any_b || share < 1;
      if ((any_a && !a_inside) || (any_b && !b_inside)) return false;
      work.share[a][i] = static_cast<float>(share);
      work.share[b][i] = static_cast<float>(1 - share);
    }
  }
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
  if (work.alone) return 0;
  std::vector<PairStep> known(work.moving.size());
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
        known[i] = work.moving[i].pair->step(work.moving[i].place[pixel]);
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
    if (!pair.touches(middle, reach_rad)) continue;
    Work::Moving& moving = work.moving.emplace_back();
    moving.pair = &pair;
    std::array<RibbonAngles, Cell::kPixels> angles;
    fill_ribbon_angles(pair.axes(), pair.px_per_rad(), raster_, cell, angles);
    for (int row = 0; row < cell.height; ++row) {
      for (int column = 0; column < cell.width; ++column) {
        const std::size_t i = Cell::index(column, row);
        moving.place[i] = pair.place(angles[i]);
        moving.whole = moving.whole && moving.place[i].strength == 1;
      }
    }
  }
}

// Where something hides a point from one lens of a pair, the other has it alone.
void CellRenderer::prefer_who_sees(const Work& work, std::size_t pixel, std::span<double> share) {
  for (const Work::Moving& moving : work.moving) {
    const std::size_t a = moving.pair->lens_a();
    const std::size_t b = moving.pair->lens_b();
    if (work.view[a] != Work::View::inside || work.view[b] != Work::View::inside) continue;
    const double sum = share[a] + share[b];
    if (sum <= 0) continue;
    const PairField::Shown shown = moving.pair->shown(moving.place[pixel]);
    const double of_a = shown.share_of_a(share[a], share[b]);
    if (of_a == share[a]) continue;  // as nearly everywhere
    share[a] = of_a;
    share[b] = sum - of_a;
  }
}

Vec3 CellRenderer::read_direction(std::size_t lens, const Work& work, std::size_t pixel,
                                  const Vec3& direction) {
  Vec3 read = direction;
  bool first = true;
  for (const Work::Moving& moving : work.moving) {
    if (!moving.pair->has(lens)) continue;
    const PairField::Place& place = moving.place[pixel];
    const double shift = moving.pair->shift_rad(lens, place);
    if (shift == 0) continue;
    const RibbonAxes& axes = moving.pair->axes();
    RibbonAngles at = first ? place.angles : axes.angles(read);
    at.eta_rad += shift;
    read = axes.direction(at);
    first = false;
  }
  return read;
}

LensTone CellRenderer::tone(std::size_t lens, const Work& work, std::size_t pixel) {
  LensTone sum;
  for (const Work::Moving& moving : work.moving) {
    if (!moving.pair->has(lens)) continue;
    const LensTone one = moving.pair->tone(lens, moving.place[pixel]);
    for (std::size_t c = 0; c < 3; ++c) {
      sum.add[c] = sum.add[c] * one.gain[c] + one.add[c];
      sum.gain[c] *= one.gain[c];
    }
  }
  return sum;
}

void CellRenderer::add_lens(std::size_t lens, const Cell& cell, Work& work) const {
  const bool moves = std::any_of(work.moving.begin(), work.moving.end(),
                                 [lens](const Work::Moving& m) { return m.pair->has(lens); });
  if (!moves && work.view[lens] == Work::View::inside) {
    add_whole(lens, cell, work);
  } else {
    add_some(lens, cell, work);
  }
}

// Reads the lens for all of the cell, shared or not.
void CellRenderer::add_whole(std::size_t lens, const Cell& cell, Work& work) const {
  fill_sources(lenses_[lens]->map, raster_, cell, work.sources);
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
  list_shared(lens, cell, work);
  SourceRun& run = work.sources;
  if (run.count == 0) return;
  if (!locate_smoothly(lens, cell, work)) locate_exactly(lens, cell, work);
  for (std::size_t k = 0; k < run.count; ++k) {
    const LensTone toned = tone(lens, work, work.pixel[k]);
    for (std::size_t c = 0; c < 3; ++c) {
      work.tone_gain[c][k] = toned.gain[c];
      work.tone_add[c][k] = toned.add[c];
    }
  }
  lenses_[lens]->shader.light(run, {&work.tone_gain, &work.tone_add}, work.of_lens);
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t k = 0; k < run.count; ++k) {
      const std::size_t i = work.pixel[k];
      work.light[c][i] += work.share[lens][i] * work.of_lens[c][k];
    }
  }
}

void CellRenderer::list_shared(std::size_t lens, const Cell& cell, Work& work) {
  std::size_t count = 0;
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      if (work.share[lens][i] > 0) work.pixel[count++] = static_cast<std::uint16_t>(i);
    }
  }
  work.sources.count = count;
}

// Where one pair moves the lens, and it sees the cell wherever it is moved to.
bool CellRenderer::locate_smoothly(std::size_t lens, const Cell& cell, Work& work) const {
  const Work::Moving* mover = nullptr;
  for (const Work::Moving& moving : work.moving) {
    if (!moving.pair->has(lens)) continue;
    if (mover != nullptr) return false;
    mover = &moving;
  }
  if (mover == nullptr || work.view[lens] != Work::View::inside) return false;
  SourceRun& run = work.sources;
  std::array<double, Cell::kPixels> shift;
  for (std::size_t k = 0; k < run.count; ++k) {
    shift[k] = mover->pair->shift_rad(lens, mover->place[work.pixel[k]]);
  }
  const auto end = shift.begin() + static_cast<std::ptrdiff_t>(run.count);
  const auto [least, most] = std::minmax_element(shift.begin(), end);
  const double farthest = std::max(std::abs(*least), std::abs(*most));
  if (work.margin[lens] <= work.reach_rad + farthest) return false;
  if (!work.moved.prepare(lenses_[lens]->map, mover->pair->axes(), raster_, cell, *least, *most)) {
    return false;
  }
  run.anchor_x = work.moved.anchor_x();
  run.anchor_y = work.moved.anchor_y();
  for (std::size_t k = 0; k < run.count; ++k) work.moved.put(work.pixel[k], shift[k], run, k);
  return true;
}

void CellRenderer::locate_exactly(std::size_t lens, const Cell& cell, Work& work) const {
  const LensMap& map = lenses_[lens]->map;
  SourceRun& run = work.sources;
  for (std::size_t k = 0; k < run.count; ++k) {
    const std::size_t i = work.pixel[k];
    const auto row = static_cast<int>(i) / Cell::kSize;
    const auto column = static_cast<int>(i) % Cell::kSize;
    const Vec3 direction = raster_.direction({cell.x + column + 0.5, cell.y + row + 0.5});
    auto px = map.source_px(read_direction(lens, work, i, direction));
    if (!px) px = map.source_px(direction);  // the shift leads out of the field
    assert(px && "a lens with a share sees the pixel");
    const Vec2 at = px.value_or(map.lens().centre_px());
    if (k == 0) {
      run.anchor_x = static_cast<int>(at.x());
      run.anchor_y = static_cast<int>(at.y());
    }
    run.set(k, at);
  }
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
