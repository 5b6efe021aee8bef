#include "compose/render/preview.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstdint>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "base/parallel.h"
#include "compose/render/blend_weights.h"
#include "sampling/cell_sources.h"
#include "sampling/lens_reader.h"

namespace seamwright {

namespace {

constexpr double kLookBlend_deg = 1.5;

Error look_error(const char* field, const std::string& what, const char* remedy) {
  return {.kind = ErrorKind::user_input,
          .where = "look",
          .field = field,
          .what = what,
          .remedy = remedy};
}

// The shares of one cell's pixels, by lens. `share` is set where `any`.
struct LookShares {
  std::array<bool, kMaxLenses> any = {};
  std::array<RunPlane, kMaxLenses> share;
};

// Moves what a lens has a share of to the front of a run, and says which pixels these are.
std::size_t keep_shared(const Cell& cell, const RunPlane& share, SourceRun& run,
                        std::array<std::size_t, Cell::kPixels>& pixel) {
  run.count = 0;
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      if (share[i] <= 0 || std::isnan(run.x[i])) continue;
      run.x[run.count] = run.x[i];
      run.y[run.count] = run.y[i];
      pixel[run.count++] = i;
    }
  }
  return run.count;
}

// Colours a look cell by cell.
class LookShader {
 public:
  LookShader(const Rig& rig, std::span<const Frame> frames, std::span<const ChannelGains> gains,
             const Preview& look, TransferCurve transfer)
      : direction_at_(
            [focal_px = look.px_per_rad(), axes = look.rig_from_preview(),
             middle = Vec2(0.5 * look.width_px, 0.5 * look.height_px)](const Vec2& px) -> Vec3 {
              return axes * Vec3(px.x() - middle.x(), px.y() - middle.y(), focal_px).normalized();
            }),
        transfer_(std::move(transfer)),
        weights_(rad_from_deg(kLookBlend_deg)) {
    for (std::size_t i = 0; i < frames.size(); ++i) {
      lenses_.push_back(std::make_unique<LensReader>(rig.lenses[i], frames[i].image,
                                                     ResampleKernel::catmull_rom, look.px_per_rad(),
                                                     transfer_, gains[i]));
    }
  }

  void colour(const Cell& cell, Image& picture) const {
    LookShares shares;
    share_out(cell, shares);
    RunColours light{};
    for (std::size_t lens = 0; lens < lenses_.size(); ++lens) {
      if (shares.any[lens]) add_lens(*lenses_[lens], cell, shares.share[lens], light);
    }
    put(cell, light, picture);
  }

 private:
  void share_out(const Cell& cell, LookShares& shares) const {
    std::array<double, kMaxLenses> margins{};
    std::array<double, kMaxLenses> of_pixel{};
    const std::size_t count = lenses_.size();
    for (int row = 0; row < cell.height; ++row) {
      for (int column = 0; column < cell.width; ++column) {
        const Vec3 direction = direction_at_({cell.x + column + 0.5, cell.y + row + 0.5});
        for (std::size_t i = 0; i < count; ++i) margins[i] = lenses_[i]->map.margin_rad(direction);
        weights_.at({margins.data(), count}, {of_pixel.data(), count});
        for (std::size_t i = 0; i < count; ++i) {
          shares.share[i][Cell::index(column, row)] = static_cast<float>(of_pixel[i]);
          shares.any[i] |= of_pixel[i] > 0;
        }
      }
    }
  }

  void add_lens(const LensReader& lens, const Cell& cell, const RunPlane& share,
                RunColours& light) const {
    SourceRun run;
    fill_sources(lens.map, direction_at_, cell, run);
    std::array<std::size_t, Cell::kPixels> pixel;
    if (keep_shared(cell, share, run, pixel) == 0) return;
    RunColours of_lens;
    lens.shader.light(run, {}, of_lens);
    for (std::size_t c = 0; c < 3; ++c) {
      for (std::size_t k = 0; k < run.count; ++k) {
        light[c][pixel[k]] += share[pixel[k]] * of_lens[c][k];
      }
    }
  }

  void put(const Cell& cell, const RunColours& light, Image& picture) const {
    const bool grey = lenses_.front()->shader.colours() == 1;
    for (int row = 0; row < cell.height; ++row) {
      std::uint8_t* out = picture.row<std::uint8_t>(cell.y + row).data() + 3 * cell.x;
      for (int column = 0; column < cell.width; ++column) {
        for (int c = 0; c < 3; ++c) {
          const auto& of_colour = light[static_cast<std::size_t>(grey ? 0 : c)];
          *out++ = code(of_colour[Cell::index(column, row)], c);
        }
      }
    }
  }

  [[nodiscard]] std::uint8_t code(float light, int channel) const {
    const float value = transfer_.is_linear() ? static_cast<float>(linear_to_srgb(light))
                                              : transfer_.from_linear(light, channel);
    return static_cast<std::uint8_t>(std::lround(255 * std::clamp(value, 0.0F, 1.0F)));
  }

  DirectionAt direction_at_;
  TransferCurve transfer_;
  BlendWeights weights_;
  std::vector<std::unique_ptr<LensReader>> lenses_;
};

}  // namespace

std::optional<Error> Preview::validate() const {
  if (!(field_deg >= 1 && field_deg <= 140)) {
    return look_error("field", fmt::format("{} is outside 1…140 degrees", field_deg),
                      "give how wide it looks");
  }
  if (std::min(width_px, height_px) < 16 || std::max(width_px, height_px) > 4096) {
    return look_error("size", fmt::format("{} x {} is outside 16…4096 px", width_px, height_px),
                      "give another size");
  }
  if (std::abs(middle.longitude_rad) <= kPi && std::abs(middle.latitude_rad) <= kPi / 2) {
    return std::nullopt;
  }
  return look_error("middle", "is no place on the sphere", "give longitude and latitude");
}

Mat3 Preview::rig_from_preview() const {
  const Vec3 ahead = middle.direction();
  // Also where it looks straight up or down: the row's direction follows from the longitude alone.
  const Vec3 right(std::cos(middle.longitude_rad), 0, -std::sin(middle.longitude_rad));
  Mat3 axes;
  axes << right, ahead.cross(right), ahead;
  return axes;
}

double Preview::px_per_rad() const {
  return 0.5 * width_px / std::tan(rad_from_deg(field_deg) / 2);
}

Vec3 Preview::direction(const Vec2& px) const {
  const double focal_px = px_per_rad();
  const Vec3 in_look(px.x() - 0.5 * width_px, px.y() - 0.5 * height_px, focal_px);
  return rig_from_preview() * in_look.normalized();
}

Result<Image> render_preview(const Rig& rig, std::span<const Frame> frames,
                             std::span<const ChannelGains> gains, const Preview& look) {
  if (auto error = look.validate()) return fail(std::move(*error));
  assert(frames.size() == rig.lenses.size() && gains.size() == frames.size());
  assert(frames.size() <= kMaxLenses);
  auto transfer = TransferCurve::of(frames.front().image);
  if (!transfer) return tl::unexpected(transfer.error());
  const LookShader shader(rig, frames, gains, look, std::move(*transfer));
  Image picture(look.width_px, look.height_px, Channels::rgb, SampleType::u8);
  const CellTiling tiling{look.width_px, look.height_px};
  parallel_for(0, tiling.count(), [&](int i) { shader.colour(tiling.at(i), picture); });
  return picture;
}

}  // namespace seamwright
