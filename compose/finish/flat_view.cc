#include "compose/finish/flat_view.h"

#include <array>
#include <cmath>

#include "base/parallel.h"
#include "imaging/quantise.h"

namespace seamwright {

namespace {

template <class T>
void render_row(const WrappedPanorama& panorama, const PictureSampler& sampler,
                const FlatView& view, Image& out, int y) {
  const auto row = out.row<T>(y);
  const auto colours = static_cast<std::size_t>(sampler.colours());
  std::array<float, 3> values{};
  std::size_t at = 0;
  for (int x = 0; x < out.width(); ++x) {
    sampler.sample(panorama.position(view.direction({x + 0.5, y + 0.5})), values.data());
    for (std::size_t c = 0; c < colours; ++c) row[at++] = sample_from_unit<T>(values[c]);
  }
}

}  // namespace

FlatView FlatView::down(double field_deg, int size_px) {
  FlatView view;
  view.sphere_from_view.col(0) = Vec3::UnitX();
  view.sphere_from_view.col(1) = -Vec3::UnitZ();
  view.sphere_from_view.col(2) = Vec3::UnitY();
  view.half_width = std::tan(rad_from_deg(field_deg) / 2);
  view.size_px = size_px;
  return view;
}

Vec3 FlatView::direction(const Vec2& px) const {
  const double scale = 2 * half_width / size_px;
  return sphere_from_view *
         Vec3(px.x() * scale - half_width, px.y() * scale - half_width, 1).normalized();
}

std::optional<Vec2> FlatView::position(const Vec3& direction) const {
  const Vec3 in_view = sphere_from_view.transpose() * direction;
  if (!(in_view.z() > 1e-6)) return std::nullopt;
  const double scale = size_px / (2 * half_width);
  return Vec2((in_view.x() / in_view.z() + half_width) * scale,
              (in_view.y() / in_view.z() + half_width) * scale);
}

double FlatView::px_per_rad(double off_axis_rad) const {
  // Along: sec², across: sec.
  return size_px / (2 * half_width) * std::pow(1 / std::cos(off_axis_rad), 1.5);
}

int native_view_size(int panorama_width_px, double field_deg) {
  const double px = panorama_width_px / kPi * std::tan(rad_from_deg(field_deg) / 2);
  return 2 * static_cast<int>(std::ceil(px / 2));
}

Image render_flat_view(const WrappedPanorama& panorama, const FlatView& view) {
  const double finer = panorama.raster().width / (2 * kPi) / view.px_per_rad(0);
  const KernelWeights kernel(ResampleKernel::lanczos3, std::min(finer, 4.0));
  const PictureSampler sampler(panorama.bordered(), kernel);
  const bool is_float = panorama.bordered().type() == SampleType::f32;
  Image out(view.size_px, view.size_px, sampler.colours() == 3 ? Channels::rgb : Channels::grey,
            is_float ? SampleType::f32 : SampleType::u16);
  out.take_meaning_of(panorama.bordered());
  parallel_for(0, out.height(), [&](int y) {
    if (is_float) {
      render_row<float>(panorama, sampler, view, out, y);
    } else {
      render_row<std::uint16_t>(panorama, sampler, view, out, y);
    }
  });
  return out;
}

}  // namespace seamwright
