#include "compose/finish/floor_view.h"

#include <array>
#include <cmath>
#include <cstring>
#include <vector>

#include <fmt/format.h>

#include "base/parallel.h"
#include "imaging/quantise.h"

namespace seamwright {

namespace {

constexpr double kLeastField_deg = 20;
constexpr double kLargestField_deg = 140;

Error floor_error(std::string what, std::string remedy) {
  return {.where = {}, .field = "floor view", .what = std::move(what), .remedy = std::move(remedy)};
}

std::optional<Error> check(const Image& panorama, double field_deg) {
  if (auto error = check_whole_sphere(panorama)) return error;
  if (field_deg >= kLeastField_deg && field_deg <= kLargestField_deg) return std::nullopt;
  return floor_error(fmt::format("a field of {} degrees is outside {}…{}", field_deg,
                                 kLeastField_deg, kLargestField_deg),
                     fmt::format("{} suits most stands", kFloorField_deg));
}

std::optional<Error> check_same_kind(const Image& original, const Image& edited, double field_deg) {
  if (edited.width() != original.width() || edited.height() != original.height()) {
    return floor_error(
        fmt::format("is {} x {} px, but this panorama's view of {} degrees is {} x {}",
                    edited.width(), edited.height(), field_deg, original.width(),
                    original.height()),
        "put back a view of this very panorama and field, not cropped or resized");
  }
  if (edited.channels() != original.channels() || edited.type() != original.type()) {
    return floor_error("has other channels or another bit depth than it was written with",
                       "save it flat, without alpha, at its own bit depth");
  }
  if (edited.icc_profile != original.icc_profile || edited.transfer != original.transfer) {
    return floor_error("has another colour profile than the panorama",
                       "save it with the profile it came with");
  }
  return std::nullopt;
}

// Kernels by how much finer the view is than the panorama, in small steps.
class KernelLadder {
 public:
  KernelLadder() {
    for (int i = 0; i <= kSteps; ++i) {
      kernels_.emplace_back(ResampleKernel::lanczos3, 1.0 + i * kStep);
    }
  }
  [[nodiscard]] std::size_t rung(double finer) const {
    return static_cast<std::size_t>(std::clamp((finer - 1.0) / kStep + 0.5, 0.0, kSteps + 0.0));
  }
  [[nodiscard]] std::vector<PictureSampler> samplers(const Image& picture) const {
    std::vector<PictureSampler> result;
    for (const KernelWeights& kernel : kernels_) result.emplace_back(picture, kernel);
    return result;
  }

 private:
  static constexpr int kSteps = 40;
  static constexpr double kStep = 0.1;
  std::vector<KernelWeights> kernels_;
};

struct Return {
  const FlatView& view;
  std::span<const std::uint8_t> mask;
  const KernelLadder& ladder;
  std::span<const PictureSampler> samplers;
};

// Whether the pixel's place in the view is on a masked pixel.
bool is_masked(const Return& back, const Vec2& px) {
  const int size = back.view.size_px;
  if (!(px.x() >= 0 && px.y() >= 0 && px.x() < size && px.y() < size)) return false;
  const auto at = static_cast<std::size_t>(px.y()) * static_cast<std::size_t>(size) +
                  static_cast<std::size_t>(px.x());
  return back.mask[at] != 0;
}

template <class T>
std::int64_t put_row(const Return& back, const Equirect& raster, Image& panorama, int y) {
  const double panorama_px_per_rad = raster.width / (2 * kPi);
  const auto row = panorama.row<T>(y);
  const auto channels = static_cast<std::size_t>(panorama.channel_count());
  std::array<float, 3> values{};
  std::int64_t changed = 0;
  for (int x = 0; x < raster.width; ++x) {
    const Vec3 direction = raster.direction({x + 0.5, y + 0.5});
    const auto px = back.view.position(direction);
    if (!px || !is_masked(back, *px)) continue;
    const double off_axis = angle_between(direction, back.view.sphere_from_view.col(2));
    const auto rung = back.ladder.rung(back.view.px_per_rad(off_axis) / panorama_px_per_rad);
    const PictureSampler& sampler = back.samplers[rung];
    sampler.sample(*px, values.data());
    T* pixel = row.data() + static_cast<std::size_t>(x) * channels;
    for (std::size_t c = 0; c < static_cast<std::size_t>(sampler.colours()); ++c) {
      pixel[c] = sample_from_unit<T>(values[c]);
    }
    ++changed;
  }
  return changed;
}

}  // namespace

Result<Image> floor_view(const Image& panorama, double field_deg) {
  if (auto error = check(panorama, field_deg)) return fail(std::move(*error));
  const FlatView view = FlatView::down(field_deg, native_view_size(panorama.width(), field_deg));
  return render_flat_view(WrappedPanorama(panorama), view);
}

std::int64_t put_view_back(Image& panorama, const FlatView& view, const Image& edited,
                           std::span<const std::uint8_t> mask) {
  const KernelLadder ladder;
  const auto samplers = ladder.samplers(edited);
  const Return back{view, mask, ladder, samplers};
  const Equirect raster{panorama.width(), panorama.height()};
  std::vector<std::int64_t> changed(static_cast<std::size_t>(panorama.height()));
  parallel_for(0, panorama.height(), [&](int y) {
    auto& count = changed[static_cast<std::size_t>(y)];
    switch (panorama.type()) {
      case SampleType::u8:
        count = put_row<std::uint8_t>(back, raster, panorama, y);
        break;
      case SampleType::u16:
        count = put_row<std::uint16_t>(back, raster, panorama, y);
        break;
      case SampleType::f32:
        count = put_row<float>(back, raster, panorama, y);
        break;
    }
  });
  std::int64_t sum = 0;
  for (const std::int64_t count : changed) sum += count;
  return sum;
}

Result<FloorReturn> put_floor_back(Image& panorama, const Image& edited, double field_deg) {
  const auto original = floor_view(panorama, field_deg);
  if (!original) return tl::unexpected(original.error());
  if (auto error = check_same_kind(*original, edited, field_deg)) return fail(std::move(*error));
  const auto size = static_cast<std::size_t>(edited.width());
  const std::size_t pixel = edited.row_bytes() / size;
  std::vector<std::uint8_t> mask(size * size);
  FloorReturn result;
  for (std::size_t i = 0; i < mask.size(); ++i) {
    mask[i] = std::memcmp(original->bytes().data() + i * pixel, edited.bytes().data() + i * pixel,
                          pixel) != 0
                  ? 1
                  : 0;
    result.edited_px += mask[i];
  }
  constexpr double kNearlyAll = 0.9;
  result.everything_edited =
      static_cast<double>(result.edited_px) > kNearlyAll * static_cast<double>(mask.size());
  if (result.edited_px > 0) {
    result.changed_px =
        put_view_back(panorama, FlatView::down(field_deg, edited.width()), edited, mask);
  }
  return result;
}

}  // namespace seamwright
