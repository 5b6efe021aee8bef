#include "compose/render/render.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <functional>
#include <future>
#include <memory>

#include <fmt/format.h>

#include "base/parallel.h"
#include "base/user_error.h"
#include "compose/render/cell_renderer.h"

namespace seamwright {

namespace {

constexpr int kMinWidth = 64;
constexpr int kMaxWidth = 262144;
constexpr double kCornerBlend_deg = 1.5;  // where seams of several pairs meet
constexpr int kTileCells = 8;             // cells side by side in one unit of parallel work

Error frame_error(const Frame& frame, std::string what, std::string remedy) {
  return {
      .where = frame.info.file, .field = {}, .what = std::move(what), .remedy = std::move(remedy)};
}

std::optional<Error> check_frames(const Rig& rig, std::span<const Frame> frames) {
  if (static_cast<int>(frames.size()) != rig.lens_count()) {
    return option_error(
        "frames", fmt::format("{} given for a body of {} lenses", frames.size(), rig.lens_count()),
        "give one frame per lens, in the template's order");
  }
  const Image& first = frames[0].image;
  const Lens& lens = rig.lenses[0].lens;
  const double scale = static_cast<double>(first.width()) / lens.width_px;
  if (first.empty() || std::abs(scale * lens.height_px - first.height()) > 1.0) {
    return frame_error(frames[0],
                       fmt::format("{} x {} px does not have the shape of the template's {} x {}",
                                   first.width(), first.height(), lens.width_px, lens.height_px),
                       "use frames of the body the template is for, uncropped");
  }
  for (const Frame& frame : frames) {
    const Image& image = frame.image;
    if (image.width() != first.width() || image.height() != first.height()) {
      return frame_error(frame,
                         fmt::format("{} x {} px, but the first frame is {} x {}", image.width(),
                                     image.height(), first.width(), first.height()),
                         "give frames of one shot, at one size");
    }
    if (image.channels() != first.channels() || image.type() != first.type()) {
      return frame_error(frame, "differs from the first frame in channels or bit depth",
                         "export all frames of a shot alike");
    }
    if (image.icc_profile != first.icc_profile || image.transfer != first.transfer) {
      return frame_error(frame, "carries another colour profile than the first frame",
                         "export all frames of a shot with one profile");
    }
  }
  return std::nullopt;
}

std::vector<std::unique_ptr<LensReader>> make_views(const Rig& rig, std::span<const Frame> frames,
                                                    const RenderOptions& options,
                                                    const PanoramaShape& shape,
                                                    const TransferCurve& transfer,
                                                    const GainMatch& gains) {
  const double panorama_px_per_rad = shape.width_px / (2.0 * kPi);
  std::vector<std::unique_ptr<LensReader>> views;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    views.push_back(std::make_unique<LensReader>(rig.lenses[i], frames[i].image, options.kernel,
                                                 panorama_px_per_rad, transfer, gains.gains[i]));
  }
  return views;
}

// Renders one cell into a band that begins at a row; returns the number of unseen pixels.
using RenderCell = std::function<int(const Cell& cell, Image& band, int top)>;

// Renders rows [top, top + rows) and returns the number of unseen pixels.
std::int64_t render_band(const RenderCell& render_cell, const PanoramaShape& shape, int top,
                         int rows, Image& band) {
  constexpr int kTileWidth = kTileCells * Cell::kSize;
  const int tiles_across = (shape.width_px + kTileWidth - 1) / kTileWidth;
  const int tiles_down = (rows + Cell::kSize - 1) / Cell::kSize;
  std::vector<std::int64_t> unseen(static_cast<std::size_t>(tiles_across * tiles_down));
  parallel_for(0, tiles_across * tiles_down, [&](int tile) {
    const int left = tile % tiles_across * kTileWidth;
    const int right = std::min(left + kTileWidth, shape.width_px);
    Cell cell;
    cell.y = top + tile / tiles_across * Cell::kSize;
    cell.height = std::min(Cell::kSize, shape.height_px - cell.y);
    for (cell.x = left; cell.x < right; cell.x += Cell::kSize) {
      cell.width = std::min(Cell::kSize, right - cell.x);
      unseen[static_cast<std::size_t>(tile)] += render_cell(cell, band, top);
    }
  });
  std::int64_t sum = 0;
  for (const std::int64_t count : unseen) sum += count;
  return sum;
}

GainMatch gains_for(const Rig& rig, std::span<const Frame> frames, const RenderOptions& options,
                    const TransferCurve& transfer) {
  if (!options.gain_match) return unit_gains(rig.lens_count());
  // A plan compared the lenses already.
  const bool planned = options.seams != nullptr && !options.seams->gains.gains.empty();
  return planned ? options.seams->gains : match_gains(rig, frames, transfer);
}

// Hands bands to a sink on a thread of its own, one after the other, while the next is rendered.
// What the sink says is heard at the next call.
class BandWriter {
 public:
  explicit BandWriter(RowSink& sink) : sink_(sink) {}
  BandWriter(const BandWriter&) = delete;
  BandWriter& operator=(const BandWriter&) = delete;
  ~BandWriter() {
    if (writing_.valid()) writing_.wait();
  }

  // `rows` must stay as they are until the next call.
  [[nodiscard]] Result<void> write(int first_row, std::span<const std::byte> rows) {
    if (auto written = finish(); !written) return written;
    writing_ = std::async(std::launch::async,
                          [this, first_row, rows] { return sink_.write_rows(first_row, rows); });
    return {};
  }
  [[nodiscard]] Result<void> finish() { return writing_.valid() ? writing_.get() : Result<void>{}; }

 private:
  RowSink& sink_;
  std::future<Result<void>> writing_;
};

// Renders all rows, band by band, into a sink; returns the number of unseen pixels.
Result<std::int64_t> render_rows(const RenderCell& render_cell, const PanoramaShape& shape,
                                 int band_rows, RowSink& sink, const ProgressFn& progress) {
  const int step = (band_rows + Cell::kSize - 1) / Cell::kSize * Cell::kSize;
  // One is rendered while the other is written.
  const auto band_image = [&] {
    return Image(shape.width_px, std::min(step, shape.height_px), shape.channels, shape.type);
  };
  std::array<Image, 2> bands{band_image(), band_image()};
  BandWriter writer(sink);
  std::int64_t unseen = 0;
  for (int top = 0; top < shape.height_px; top += step) {
    if (!tell(progress, "rendering", static_cast<double>(top) / shape.height_px)) {
      return fail(stopped_while("rendering"));
    }
    Image& band = bands[static_cast<std::size_t>(top / step % 2)];
    const int rows = std::min(step, shape.height_px - top);
    unseen += render_band(render_cell, shape, top, rows, band);
    const auto bytes = band.bytes().first(static_cast<std::size_t>(rows) * band.row_bytes());
    if (auto written = writer.write(top, bytes); !written) return tl::unexpected(written.error());
  }
  if (auto written = writer.finish(); !written) return tl::unexpected(written.error());
  if (!tell(progress, "rendering", 1)) return fail(stopped_while("rendering"));
  return unseen;
}

CellRenderer make_renderer(const Rig& sized, std::span<const Frame> frames,
                           const RenderOptions& options, const PanoramaShape& shape,
                           const TransferCurve& transfer, const GainMatch& gains) {
  const double half_width =
      rad_from_deg(options.seams == nullptr ? options.blend_half_width_deg : kCornerBlend_deg);
  return {make_views(sized, frames, options, shape, transfer, gains),
          Equirect{shape.width_px, shape.height_px}, BlendWeights(half_width), transfer,
          options.seams};
}

class ImageSink final : public RowSink {
 public:
  explicit ImageSink(Image& image) : image_(image) {}
  Result<void> write_rows(int first_row, std::span<const std::byte> rows) override {
    std::memcpy(image_.bytes().data() + static_cast<std::size_t>(first_row) * image_.row_bytes(),
                rows.data(), rows.size());
    return {};
  }

 private:
  Image& image_;
};

}  // namespace

std::optional<Error> RenderOptions::validate() const {
  if (width_px != 0 && (width_px < kMinWidth || width_px > kMaxWidth || width_px % 2 != 0)) {
    return option_error(
        "width",
        fmt::format("{} px is not an even number of {}…{}", width_px, kMinWidth, kMaxWidth),
        "give an even width, or native");
  }
  if (!(blend_half_width_deg >= 0.05 && blend_half_width_deg <= 30)) {
    return option_error("blend half width",
                        fmt::format("{} degrees is outside 0.05…30", blend_half_width_deg),
                        "1 to 3 degrees suit most rooms");
  }
  if (band_rows < 1) {
    return option_error("band rows", fmt::format("{} is below 1", band_rows), "128 is usual");
  }
  return std::nullopt;
}

int native_width(const Rig& rig) {
  return std::max(kMinWidth,
                  16 * static_cast<int>(std::lround(2.0 * kPi * rig.peak_px_per_rad() / 16.0)));
}

Result<PanoramaShape> panorama_shape(const Rig& rig, std::span<const Frame> frames,
                                     const RenderOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = rig.validate()) return fail(std::move(*error));
  if (auto error = check_frames(rig, frames)) return fail(std::move(*error));
  const Image& first = frames[0].image;
  PanoramaShape shape;
  shape.native_width_px = native_width(rig.scaled_to(first.width(), first.height()));
  shape.width_px = options.width_px > 0 ? options.width_px : shape.native_width_px;
  shape.height_px = shape.width_px / 2;
  const bool grey = first.channels() == Channels::grey || first.channels() == Channels::grey_alpha;
  shape.channels = grey ? Channels::grey : Channels::rgb;
  shape.type = first.type() == SampleType::f32 ? SampleType::f32 : SampleType::u16;
  shape.icc_profile = first.icc_profile;
  shape.transfer = first.transfer;
  return shape;
}

Result<RenderReport> render_panorama(const Rig& rig, std::span<const Frame> frames,
                                     const RenderOptions& options, RowSink& sink,
                                     const ProgressFn& progress) {
  const auto shape = panorama_shape(rig, frames, options);
  if (!shape) return tl::unexpected(shape.error());
  const auto transfer = TransferCurve::of(frames[0].image);
  if (!transfer) return tl::unexpected(transfer.error());
  const Rig sized = rig.scaled_to(frames[0].image.width(), frames[0].image.height());

  if (!tell(progress, "matching gains", 0)) return fail(stopped_while("rendering"));
  RenderReport report{.width_px = shape->width_px,
                      .height_px = shape->height_px,
                      .native_width_px = shape->native_width_px,
                      .gains = gains_for(sized, frames, options, *transfer)};
  const CellRenderer renderer =
      make_renderer(sized, frames, options, *shape, *transfer, report.gains);
  const RenderCell render_cell = [&](const Cell& cell, Image& band, int top) {
    return renderer.render(cell, band, top);
  };
  const auto unseen = render_rows(render_cell, *shape, options.band_rows, sink, progress);
  if (!unseen) return tl::unexpected(unseen.error());
  report.unseen_px = *unseen;
  return report;
}

PanoramaShape layer_shape(const PanoramaShape& panorama, LayerKind kind) {
  PanoramaShape shape = panorama;
  const bool grey = panorama.channels == Channels::grey;
  shape.channels = kind == LayerKind::mask ? Channels::grey
                   : grey                  ? Channels::grey_alpha
                                           : Channels::rgba;
  if (kind == LayerKind::mask) shape.icc_profile.clear();
  return shape;
}

Result<void> render_layer(const Rig& rig, std::span<const Frame> frames,
                          const RenderOptions& options, const Layer& layer, RowSink& sink,
                          const ProgressFn& progress) {
  const auto panorama = panorama_shape(rig, frames, options);
  if (!panorama) return tl::unexpected(panorama.error());
  const auto transfer = TransferCurve::of(frames[0].image);
  if (!transfer) return tl::unexpected(transfer.error());
  const Rig sized = rig.scaled_to(frames[0].image.width(), frames[0].image.height());
  const GainMatch gains = gains_for(sized, frames, options, *transfer);
  const CellRenderer renderer = make_renderer(sized, frames, options, *panorama, *transfer, gains);
  const auto lens = static_cast<std::size_t>(layer.lens);
  const RenderCell render_cell = [&](const Cell& cell, Image& band, int top) {
    if (layer.kind == LayerKind::mask) {
      renderer.render_mask(cell, lens, band, top);
    } else {
      renderer.render_layer(cell, lens, band, top);
    }
    return 0;
  };
  const auto done = render_rows(render_cell, layer_shape(*panorama, layer.kind), options.band_rows,
                                sink, progress);
  if (!done) return tl::unexpected(done.error());
  return {};
}

Result<Panorama> render_panorama(const Rig& rig, std::span<const Frame> frames,
                                 const RenderOptions& options, const ProgressFn& progress) {
  const auto shape = panorama_shape(rig, frames, options);
  if (!shape) return tl::unexpected(shape.error());
  Panorama panorama;
  panorama.image = Image(shape->width_px, shape->height_px, shape->channels, shape->type);
  panorama.image.icc_profile = shape->icc_profile;
  panorama.image.transfer = shape->transfer;
  ImageSink sink(panorama.image);
  auto report = render_panorama(rig, frames, options, sink, progress);
  if (!report) return tl::unexpected(report.error());
  panorama.report = std::move(*report);
  return panorama;
}

}  // namespace seamwright
