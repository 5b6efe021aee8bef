#include "compose/cell_renderer.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>

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
void write_cell(const Cell& cell, std::span<const std::array<float, 3>> light,
                std::span<const float> alpha, const TransferCurve& transfer, int band_top,
                Image& band) {
  const int channels = band.channel_count();
  const int colours = has_alpha(band.channels()) ? channels - 1 : channels;
  for (int row = 0; row < cell.height; ++row) {
    T* out = band.row<T>(cell.y + row - band_top).data() + cell.x * channels;
    for (int column = 0; column < cell.width; ++column) {
      const auto& pixel = light[Cell::index(column, row)];
      for (int c = 0; c < colours; ++c) {
        *out++ = encoded<T>(transfer.from_linear(pixel[static_cast<std::size_t>(c)], c));
      }
      if (colours < channels) *out++ = encoded<T>(alpha[Cell::index(column, row)]);
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
  std::array<View, kMaxLenses> view{};      // of the cell by each lens
  std::array<bool, kMaxLenses> shares_any{};
  std::array<std::array<double, Cell::kPixels>, kMaxLenses> share;  // set where shares_any
  struct Moving {
    const PairField* pair = nullptr;
    std::array<PairField::Place, Cell::kPixels> place = {};
  };
  std::vector<Moving> moving{};  // pairs whose ribbons touch the cell
  bool alone = false;            // one lens has the whole cell; `share` is not set
  int unseen = 0;
  CellSources sources;
  std::array<std::array<float, 3>, Cell::kPixels> light{};
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
  if (band.type() == SampleType::f32) {
    write_cell<float>(cell, work.light, {}, transfer_, band_top, band);
  } else {
    write_cell<std::uint16_t>(cell, work.light, {}, transfer_, band_top, band);
  }
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
      work.share[lens][i] = seen ? 1.0 : 0.0;
    }
  }
  if (work.view[lens] != Work::View::outside) add_lens(lens, cell, work);
  if (band.type() == SampleType::f32) {
    write_cell<float>(cell, work.light, alpha, transfer_, band_top, band);
  } else {
    write_cell<std::uint16_t>(cell, work.light, alpha, transfer_, band_top, band);
  }
}

void CellRenderer::render_mask(const Cell& cell, std::size_t lens, Image& band,
                               int band_top) const {
  Work work;
  share_out(cell, work);
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const float all = work.shares_any[lens] ? 1.0F : 0.0F;
      const float share =
          work.alone ? all : static_cast<float>(work.share[lens][Cell::index(column, row)]);
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
  } else {
    work.unseen = share_out_by_pixel(cell, work);
  }
}

int CellRenderer::share_out_by_pixel(const Cell& cell, Work& work) const {
  int unseen = 0;
  std::array<double, kMaxLenses> margin{};
  std::array<double, kMaxLenses> share{};
  std::vector<PairStep> known(work.moving.size());
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const Vec3 direction = raster_.direction({cell.x + column + 0.5, cell.y + row + 0.5});
      for (std::size_t i = 0; i < lenses_.size(); ++i) {
        margin[i] =
            work.view[i] == Work::View::outside ? -1.0 : lenses_[i]->map.margin_rad(direction);
      }
      const std::size_t pixel = Cell::index(column, row);
      for (std::size_t i = 0; i < known.size(); ++i) {
        known[i] = work.moving[i].pair->step(work.moving[i].place[pixel]);
      }
      weights_.at({margin.data(), lenses_.size()}, {share.data(), lenses_.size()}, known);
      prefer_who_sees(work, pixel, {share.data(), lenses_.size()});
      bool seen = false;
      for (std::size_t i = 0; i < lenses_.size(); ++i) {
        work.share[i][pixel] = share[i];
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
    for (int row = 0; row < cell.height; ++row) {
      for (int column = 0; column < cell.width; ++column) {
        moving.place[Cell::index(column, row)] =
            pair.place(raster_.direction({cell.x + column + 0.5, cell.y + row + 0.5}));
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
    const PairField::Shown shown = moving.pair->shown(moving.place[pixel]);
    if (sum <= 0 || shown.by_a == shown.by_b) continue;
    share[a] = share[a] * shown.by_a + share[b] * (1 - shown.by_b);
    share[b] = sum - share[a];
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

// Source positions of every pixel of the cell in which the lens has a share.
void CellRenderer::locate(std::size_t lens, const Cell& cell, Work& work) const {
  const LensMap& map = lenses_[lens]->map;
  const bool moves = std::any_of(work.moving.begin(), work.moving.end(),
                                 [lens](const Work::Moving& m) { return m.pair->has(lens); });
  if (!moves && work.view[lens] == Work::View::inside) {
    return fill_sources(map, raster_, cell, work.sources);
  }
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      if (work.share[lens][i] <= 0) continue;
      const Vec3 direction = raster_.direction({cell.x + column + 0.5, cell.y + row + 0.5});
      auto px = map.source_px(read_direction(lens, work, i, direction));
      if (!px) px = map.source_px(direction);  // the shift leads out of the field
      assert(px && "a lens with a share sees the pixel");
      work.sources[i] = px.value_or(map.lens().centre_px());
    }
  }
}

void CellRenderer::add_lens(std::size_t lens, const Cell& cell, Work& work) const {
  locate(lens, cell, work);
  const LensShader& shader = lenses_[lens]->shader;
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      const auto share = work.alone ? 1.0F : static_cast<float>(work.share[lens][i]);
      if (share <= 0) continue;
      const auto light = shader.light(work.sources[i], tone(lens, work, i));
      for (std::size_t c = 0; c < 3; ++c) work.light[i][c] += share * light[c];
    }
  }
}

}  // namespace seamwright
