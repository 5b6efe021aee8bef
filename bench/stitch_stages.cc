#include "bench/stitch_stages.h"

#include <chrono>
#include <string>

#include "compose/render/render.h"
#include "compose/render/seam_plan.h"
#include "imaging/frame.h"
#include "imaging/tiff_writer.h"

namespace seamwright::bench {

namespace {

namespace fs = std::filesystem;

// Attributes the time between two calls to what the first one named.
class StageClock {
 public:
  void begin(const std::string& stage) {
    const auto now = std::chrono::steady_clock::now();
    const double s = std::chrono::duration<double>(now - since_).count();
    const double cpu = cpu_seconds();
    since_ = now;
    if (!current_.empty()) add(s, cpu - cpu_since_);
    cpu_since_ = cpu;
    current_ = stage;
  }
  [[nodiscard]] std::vector<StageSeconds> end() {
    begin({});
    return stages_;
  }
  [[nodiscard]] ProgressFn listener() {
    return [this](const Progress& progress) {
      if (progress.stage != current_) begin(std::string(progress.stage));
      return true;
    };
  }

 private:
  void add(double s, double cpu_s) {
    for (StageSeconds& stage : stages_) {
      if (stage.stage != current_) continue;
      stage.s += s;
      stage.cpu_s += cpu_s;
      return;
    }
    stages_.push_back({current_, s, cpu_s});
  }

  std::chrono::steady_clock::time_point since_ = std::chrono::steady_clock::now();
  double cpu_since_ = cpu_seconds();
  std::string current_;
  std::vector<StageSeconds> stages_;
};

class Nowhere final : public RowSink {
 public:
  Result<void> write_rows(int, std::span<const std::byte>) override { return {}; }
};

Result<void> write_bytes(const PanoramaShape& shape, const fs::path& out) {
  constexpr int kRows = 128;
  auto writer = TiffStripWriter::create(out, {.width = shape.width_px,
                                              .height = shape.height_px,
                                              .channels = shape.channels,
                                              .type = shape.type,
                                              .compression = TiffCompression::none,
                                              .bigtiff = BigTiff::when_needed,
                                              .icc_profile = {},
                                              .xmp = {},
                                              .info = {}});
  if (!writer) return tl::unexpected(writer.error());
  const Image band(shape.width_px, kRows, shape.channels, shape.type);
  for (int top = 0; top < shape.height_px; top += kRows) {
    const auto rows = static_cast<std::size_t>(std::min(kRows, shape.height_px - top));
    if (auto done = writer->write_rows(top, band.bytes().first(rows * band.row_bytes())); !done) {
      return done;
    }
  }
  return writer->finish();
}

}  // namespace

Result<std::vector<StageSeconds>> our_stages(const Rig& rig, const std::vector<fs::path>& frames,
                                             const fs::path& out, int width_px, bool depth) {
  StageClock clock;
  clock.begin("read");
  const auto shot = read_shot(frames, {});
  if (!shot) return tl::unexpected(shot.error());
  RenderOptions options{.width_px = width_px};
  SeamPlan plan;
  if (depth) {
    clock.begin("gains and planes");
    auto planned = plan_seams(rig, *shot, {}, clock.listener());
    if (!planned) return tl::unexpected(planned.error());
    plan = std::move(*planned);
    options.seams = &plan;
  }
  const auto shape = panorama_shape(rig, *shot, options);
  if (!shape) return tl::unexpected(shape.error());
  Nowhere nowhere;
  if (auto done = render_panorama(rig, *shot, options, nowhere, clock.listener()); !done) {
    return tl::unexpected(done.error());
  }
  clock.begin("write");
  if (auto done = write_bytes(*shape, out); !done) return tl::unexpected(done.error());
  return clock.end();
}

}  // namespace seamwright::bench
