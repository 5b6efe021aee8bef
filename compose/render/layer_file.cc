#include "compose/render/layer_file.h"

#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include <fmt/format.h>

namespace seamwright {

namespace {

class PageSink final : public RowSink {
 public:
  explicit PageSink(TiffStripWriter& writer) : writer_(writer) {}
  Result<void> write_rows(int first_row, std::span<const std::byte> rows) override {
    return writer_.write_rows(first_row, rows);
  }

 private:
  TiffStripWriter& writer_;
};

TiffLayout page_layout(const PanoramaShape& panorama, const Layer& layer,
                       TiffCompression compression) {
  const PanoramaShape shape = layer_shape(panorama, layer.kind);
  const bool mask = layer.kind == LayerKind::mask;
  return {.width = shape.width_px,
          .height = shape.height_px,
          .channels = shape.channels,
          .type = shape.type,
          .compression = compression,
          .icc_profile = shape.icc_profile,
          .page_name = fmt::format("{} {}", mask ? "mask" : "lens", layer.lens)};
}

std::uint64_t bytes_of(const TiffLayout& page) {
  return static_cast<std::uint64_t>(page.width) * static_cast<std::uint64_t>(page.height) *
         static_cast<std::uint64_t>(channel_count(page.channels)) * bytes_per_sample(page.type);
}

Result<void> write_made(TiffStripWriter& writer, const MadePage& page,
                        TiffCompression compression) {
  const Image& image = page.image;
  auto begun = writer.next_page({.width = image.width(),
                                 .height = image.height(),
                                 .channels = image.channels(),
                                 .type = image.type(),
                                 .compression = compression,
                                 .icc_profile = image.icc_profile,
                                 .page_name = page.name});
  return begun ? writer.write_rows(0, image.bytes()) : begun;
}

}  // namespace

Result<void> write_layers(const Rig& rig, std::span<const Frame> frames,
                          const RenderOptions& options, const std::filesystem::path& file,
                          TiffCompression compression, const ProgressFn& progress,
                          std::span<const MadePage> more) {
  const auto panorama = panorama_shape(rig, frames, options);
  if (!panorama) return tl::unexpected(panorama.error());
  std::vector<Layer> layers;
  for (const LayerKind kind : {LayerKind::picture, LayerKind::mask}) {
    for (int lens = 0; lens < rig.lens_count(); ++lens) layers.push_back({lens, kind});
  }
  std::uint64_t bytes = 0;
  for (const Layer& layer : layers) bytes += bytes_of(page_layout(*panorama, layer, compression));
  for (const MadePage& page : more) bytes += page.image.bytes().size();
  constexpr std::uint64_t kMostClassic = std::uint64_t{2} << 30U;  // room for LZW that grows

  std::optional<TiffStripWriter> writer;
  for (const Layer& layer : layers) {
    TiffLayout page = page_layout(*panorama, layer, compression);
    if (writer) {
      if (auto begun = writer->next_page(std::move(page)); !begun) return begun;
    } else {
      if (bytes > kMostClassic) page.bigtiff = BigTiff::always;
      auto created = TiffStripWriter::create(file, std::move(page));
      if (!created) return tl::unexpected(created.error());
      writer.emplace(std::move(*created));
    }
    PageSink sink(*writer);
    if (auto done = render_layer(rig, frames, options, layer, sink, progress); !done) return done;
  }
  for (const MadePage& page : more) {
    if (auto done = write_made(*writer, page, compression); !done) return done;
  }
  return writer->finish();
}

}  // namespace seamwright
