#include "compose/render/preview.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "base/parallel.h"
#include "compose/render/blend_weights.h"
#include "compose/render/cell_renderer.h"

namespace seamwright {

namespace {

constexpr std::size_t kMostLookLenses = 8;
constexpr double kLookBlend_deg = 1.5;

Error look_error(const char* field, const std::string& what, const char* remedy) {
  return {.kind = ErrorKind::user_input,
          .where = "look",
          .field = field,
          .what = what,
          .remedy = remedy};
}

// Everything that is needed to colour one direction.
class LookShader {
 public:
  LookShader(const Rig& rig, std::span<const Frame> frames, std::span<const ChannelGains> gains,
             double px_per_rad, TransferCurve transfer)
      : transfer_(std::move(transfer)), weights_(rad_from_deg(kLookBlend_deg)) {
    for (std::size_t i = 0; i < frames.size(); ++i) {
      lenses_.push_back(std::make_unique<LensReader>(rig.lenses[i], frames[i].image,
                                                     ResampleKernel::catmull_rom, px_per_rad,
                                                     transfer_, gains[i]));
    }
  }

  void colour(const Vec3& direction, std::uint8_t* rgb) const {
    std::array<double, kMostLookLenses> margins{};
    std::array<double, kMostLookLenses> shares{};
    const std::size_t count = lenses_.size();
    for (std::size_t i = 0; i < count; ++i) margins[i] = lenses_[i]->map.margin_rad(direction);
    weights_.at({margins.data(), count}, {shares.data(), count});
    std::array<float, 3> light{};
    for (std::size_t i = 0; i < count; ++i) {
      if (shares[i] <= 0) continue;
      const auto px = lenses_[i]->map.source_px(direction);
      if (!px) continue;
      const auto one = lenses_[i]->shader.light(*px);
      for (std::size_t c = 0; c < 3; ++c) light[c] += static_cast<float>(shares[i]) * one[c];
    }
    const bool grey = lenses_.front()->shader.colours() == 1;
    for (int c = 0; c < 3; ++c) rgb[c] = code(light[static_cast<std::size_t>(grey ? 0 : c)], c);
  }

 private:
  [[nodiscard]] std::uint8_t code(float light, int channel) const {
    const float value = transfer_.is_linear() ? static_cast<float>(linear_to_srgb(light))
                                              : transfer_.from_linear(light, channel);
    return static_cast<std::uint8_t>(std::lround(255 * std::clamp(value, 0.0F, 1.0F)));
  }

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
  assert(frames.size() <= kMostLookLenses);
  auto transfer = TransferCurve::of(frames.front().image);
  if (!transfer) return tl::unexpected(transfer.error());
  const LookShader shader(rig, frames, gains, look.px_per_rad(), std::move(*transfer));
  const Mat3 axes = look.rig_from_preview();
  const double focal_px = look.px_per_rad();
  Image picture(look.width_px, look.height_px, Channels::rgb, SampleType::u8);
  parallel_for(0, look.height_px, [&](int y) {
    std::uint8_t* out = picture.row<std::uint8_t>(y).data();
    for (int x = 0; x < look.width_px; ++x, out += 3) {
      const Vec3 in_look(x + 0.5 - 0.5 * look.width_px, y + 0.5 - 0.5 * look.height_px, focal_px);
      shader.colour(axes * in_look.normalized(), out);
    }
  });
  return picture;
}

}  // namespace seamwright
