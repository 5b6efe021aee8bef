#include "compose/finish/cover.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "base/parallel.h"
#include "compose/finish/floor_view.h"
#include "imaging/colour_convert.h"
#include "imaging/convert.h"
#include "imaging/quantise.h"
#include "imaging/transfer.h"

namespace seamwright {

namespace {

std::optional<Error> check(const Image& panorama, double radius_deg, const char* field) {
  if (auto error = check_whole_sphere(panorama)) return error;
  if (radius_deg >= 1 && radius_deg <= kLargestCover_deg) return std::nullopt;
  return Error{
      .where = {},
      .field = field,
      .what = fmt::format("a radius of {} degrees is outside 1…{}", radius_deg, kLargestCover_deg),
      .remedy = "15 to 25 hide most stands"};
}

// The floor around a cap, wide enough to take from.
FlatView surroundings(int panorama_width, double radius_deg) {
  const double wanted = 3.1 * std::tan(rad_from_deg(radius_deg));
  const double half_field = std::min(std::atan(wanted), rad_from_deg(65));
  const double field_deg = deg_from_rad(2 * half_field);
  return FlatView::down(field_deg, native_view_size(panorama_width, field_deg));
}

std::vector<std::uint8_t> disc(const FlatView& view, double radius_deg, double more_px) {
  const double radius_px =
      std::tan(rad_from_deg(radius_deg)) / view.half_width * view.size_px / 2 + more_px;
  const auto size = static_cast<std::size_t>(view.size_px);
  std::vector<std::uint8_t> mask(size * size);
  for (std::size_t i = 0; i < mask.size(); ++i) {
    const double x = static_cast<double>(i % size) + 0.5 - 0.5 * view.size_px;
    const std::size_t row = i / size;
    const double y = static_cast<double>(row) + 0.5 - 0.5 * view.size_px;
    mask[i] = std::hypot(x, y) < radius_px ? 1 : 0;
  }
  return mask;
}

// A plate ready to be read: premultiplied light, and how much it covers.
struct Plate {
  Image light;     // f32, linear, premultiplied
  Image coverage;  // f32 grey, linear
};

Result<Plate> prepared(const Image& plate, const Image& panorama, const TransferCurve& curve) {
  auto converted = converted_to(plate, panorama);
  if (!converted) return tl::unexpected(converted.error());
  const bool alpha = has_alpha(converted->channels());
  const auto channels = static_cast<std::size_t>(converted->channel_count());
  const std::size_t colours = alpha ? channels - 1 : channels;
  Plate result{Image(plate.width(), plate.height(), colours == 3 ? Channels::rgb : Channels::grey,
                     SampleType::f32),
               Image(plate.width(), plate.height(), Channels::grey, SampleType::f32)};
  for (int y = 0; y < plate.height(); ++y) {
    const auto from = converted->row<float>(y);
    const auto light = result.light.row<float>(y);
    const auto coverage = result.coverage.row<float>(y);
    for (std::size_t x = 0; x < coverage.size(); ++x) {
      coverage[x] = alpha ? from[x * channels + colours] : 1.0F;
      for (std::size_t c = 0; c < colours; ++c) {
        light[x * colours + c] =
            coverage[x] * curve.to_linear(from[x * channels + c], static_cast<int>(c));
      }
    }
  }
  return result;
}

struct Laying {
  FlatView view;
  const PictureSampler& light;
  const PictureSampler& coverage;
  const TransferCurve& curve;
  double radius_rad;
  double px_per_rad;  // of the panorama
};

template <class T>
void lay_row(const Laying& laying, Image& panorama, int y) {
  const Equirect raster{panorama.width(), panorama.height()};
  const auto row = panorama.row<T>(y);
  const auto channels = static_cast<std::size_t>(panorama.channel_count());
  std::array<float, 3> light{};
  for (int x = 0; x < raster.width; ++x) {
    const Vec3 direction = raster.direction({x + 0.5, y + 0.5});
    const double off = angle_between(direction, Vec3::UnitY());
    // The rim: half covered on the radius itself, over one pixel.
    const auto rim = static_cast<float>(
        std::clamp((laying.radius_rad - off) * laying.px_per_rad + 0.5, 0.0, 1.0));
    const auto px = laying.view.position(direction);
    if (rim <= 0 || !px) continue;
    const float cover = rim * std::clamp(laying.coverage.sample(*px, 0), 0.0F, 1.0F);
    if (cover <= 0) continue;
    laying.light.sample(*px, light.data());
    for (std::size_t c = 0; c < static_cast<std::size_t>(laying.light.colours()); ++c) {
      T& sample = row[static_cast<std::size_t>(x) * channels + c];
      const int channel = static_cast<int>(c);
      const float below = laying.curve.to_linear(unit_from_sample<T>(sample), channel);
      const float mixed = below * (1 - cover) + rim * light[c];
      sample = sample_from_unit<T>(laying.curve.from_linear(mixed, channel));
    }
  }
}

Error plate_error(const Image& plate, std::string what) {
  return {.where = {},
          .field = "plate",
          .what = fmt::format("is {} x {} px, {}", plate.width(), plate.height(), what),
          .remedy = "give a square picture; the circle that fits it is used"};
}

}  // namespace

Result<Filling> cover_by_filling(Image& panorama, double radius_deg) {
  if (auto error = check(panorama, radius_deg, "cover")) return fail(std::move(*error));
  const FlatView view = surroundings(panorama.width(), radius_deg);
  Image floor = to_type(render_flat_view(WrappedPanorama(panorama), view), SampleType::f32);
  floor.take_meaning_of(panorama);
  // A little wider than what is replaced, so that the rim takes nothing from the stand.
  auto filling = fill_hole(floor, disc(view, radius_deg, 3));
  if (!filling) return filling;
  static_cast<void>(put_view_back(panorama, view, floor, disc(view, radius_deg, 0)));
  return filling;
}

Result<PlateReport> cover_by_plate(Image& panorama, const Image& plate, double radius_deg) {
  if (auto error = check(panorama, radius_deg, "plate")) return fail(std::move(*error));
  if (plate.width() != plate.height()) return fail(plate_error(plate, "not square"));
  constexpr int kLeast_px = 16;
  if (plate.width() < kLeast_px) return fail(plate_error(plate, "too small"));
  const auto curve = TransferCurve::of(panorama);
  if (!curve) return tl::unexpected(curve.error());
  auto ready = prepared(plate, panorama, *curve);
  if (!ready) return tl::unexpected(ready.error());

  const double px_per_rad = panorama.width() / (2 * kPi);
  FlatView view = FlatView::down(2 * radius_deg, plate.width());
  const KernelWeights kernel(ResampleKernel::catmull_rom,
                             std::max(view.px_per_rad(0) / px_per_rad, 1.0));
  const PictureSampler light(ready->light, kernel);
  const PictureSampler coverage(ready->coverage, kernel);
  const Laying laying{view, light, coverage, *curve, rad_from_deg(radius_deg), px_per_rad};
  parallel_for(0, panorama.height(), [&](int y) {
    switch (panorama.type()) {
      case SampleType::u8:
        return lay_row<std::uint8_t>(laying, panorama, y);
      case SampleType::u16:
        return lay_row<std::uint16_t>(laying, panorama, y);
      case SampleType::f32:
        return lay_row<float>(laying, panorama, y);
    }
  });
  PlateReport report;
  report.wanted_px = native_view_size(panorama.width(), 2 * radius_deg);
  report.too_coarse = plate.width() < report.wanted_px;
  return report;
}

}  // namespace seamwright
