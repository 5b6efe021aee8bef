#include "compose/finish/level.h"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "base/parallel.h"
#include "compose/finish/wrapped_panorama.h"
#include "features/plumb_lines.h"
#include "imaging/quantise.h"

namespace seamwright {

namespace {

// Solved lenses: straight edges are nearly great circles. Short edges of doors and shelves count.
PlumbLineOptions line_options() {
  PlumbLineOptions options;
  options.max_lines = 120;
  options.least_length_rad = rad_from_deg(10);
  options.largest_curvature_per_rad = 0.05;
  return options;
}

// Six looks over the horizon and beyond, overlapping, so that no edge is cut short by a border.
constexpr int kViews = 6;
constexpr double kViewReach_deg = 60;
constexpr int kLargestView_px = 2000;

Rig views_of_sphere(int panorama_width) {
  const int size = std::min(kLargestView_px, static_cast<int>(2 * rad_from_deg(kViewReach_deg) *
                                                              panorama_width / (2 * kPi)));
  Rig rig;
  for (int i = 0; i < kViews; ++i) {
    MountedLens view;
    view.lens.curve = LensCurve::equidistant;
    view.lens.width_px = view.lens.height_px = size;
    view.lens.theta_max_rad = rad_from_deg(kViewReach_deg);
    view.lens.terms[kFocal] = size / (2 * rad_from_deg(kViewReach_deg));
    view.lens.terms[kCentreU] = view.lens.terms[kCentreV] = 0.5 * size;
    view.rig_from_lens = Quat(Eigen::AngleAxisd(2 * kPi * i / kViews, Vec3::UnitY()));
    rig.lenses.push_back(view);
  }
  return rig;
}

Image look(const WrappedPanorama& panorama, const MountedLens& view) {
  const Lens& lens = view.lens;
  Image picture(lens.width_px, lens.height_px, Channels::grey, SampleType::f32);
  picture.transfer = Transfer::srgb;
  const double panorama_px_per_rad = panorama.raster().width / (2 * kPi);
  const KernelWeights kernel(ResampleKernel::catmull_rom,
                             std::min(panorama_px_per_rad / lens.terms[kFocal], 4.0));
  const PictureSampler sampler(panorama.bordered(), kernel);
  const int green = sampler.colours() == 3 ? 1 : 0;
  parallel_for(0, lens.height_px, [&](int y) {
    const auto row = picture.row<float>(y);
    for (int x = 0; x < lens.width_px; ++x) {
      const auto direction = view.direction_in_rig({x + 0.5, y + 0.5});
      if (direction) {
        row[static_cast<std::size_t>(x)] = sampler.sample(panorama.position(*direction), green);
      }
    }
  });
  return picture;
}

// Columns by which a turn about the vertical moves the picture, where that is a whole number.
std::optional<int> whole_columns(const Quat& turn, int width) {
  if ((turn * Vec3::UnitY() - Vec3::UnitY()).norm() > 1e-9) return std::nullopt;
  const Vec3 ahead = turn * Vec3::UnitZ();
  const double columns = std::atan2(ahead.x(), ahead.z()) / (2 * kPi) * width;
  const double whole = std::round(columns);
  if (std::abs(columns - whole) > 1e-6) return std::nullopt;
  return (static_cast<int>(whole) % width + width) % width;
}

Image moved(const Image& panorama, int columns) {
  Image out = panorama;
  const std::size_t shift = panorama.row_bytes() / static_cast<std::size_t>(panorama.width()) *
                            static_cast<std::size_t>(columns);
  for (int y = 0; y < panorama.height(); ++y) {
    auto row = out.bytes().subspan(static_cast<std::size_t>(y) * out.row_bytes(), out.row_bytes());
    std::rotate(row.begin(), row.end() - static_cast<std::ptrdiff_t>(shift), row.end());
  }
  return out;
}

template <class T>
void turn_row(const WrappedPanorama& source, const PictureSampler& sampler,
              const Quat& panorama_from_turned, Image& out, int y) {
  const auto row = out.row<T>(y);
  const auto colours = static_cast<std::size_t>(sampler.colours());
  std::array<float, 3> values{};
  std::size_t at = 0;
  for (int x = 0; x < out.width(); ++x) {
    const Vec3 direction = panorama_from_turned * source.raster().direction({x + 0.5, y + 0.5});
    sampler.sample(source.position(direction), values.data());
    for (std::size_t c = 0; c < colours; ++c) row[at++] = sample_from_unit<T>(values[c]);
  }
}

}  // namespace

Quat level_from_rig(const Vec3& down, double middle_deg) {
  const Quat upright = Quat::FromTwoVectors(down, Vec3::UnitY());
  const Quat about_vertical(Eigen::AngleAxisd(-rad_from_deg(middle_deg), Vec3::UnitY()));
  return (about_vertical * upright).normalized();
}

Rig turned(const Rig& rig, const Quat& turned_from_rig) {
  Rig result = rig;
  for (MountedLens& mounted : result.lenses) {
    mounted.rig_from_lens = (turned_from_rig * mounted.rig_from_lens).normalized();
    mounted.pupil = turned_from_rig * mounted.pupil;
  }
  return result;
}

Result<std::vector<EdgePlane>> find_edges(const Rig& rig, std::span<const Frame> frames) {
  if (frames.empty()) return std::vector<EdgePlane>{};
  const Image& first = frames.front().image;
  const Rig sized = rig.scaled_to(first.width(), first.height());
  const auto lines = find_plumb_lines(frames, sized, 0, line_options());
  if (!lines) return tl::unexpected(lines.error());
  return edge_planes(sized, *lines);
}

Result<Vertical> find_vertical(const Rig& rig, std::span<const Frame> frames,
                               const VerticalOptions& options) {
  const auto edges = find_edges(rig, frames);
  if (!edges) return tl::unexpected(edges.error());
  return find_vertical(*edges, options);
}

Result<Vertical> find_vertical(const Image& panorama, const VerticalOptions& options) {
  if (auto error = check_whole_sphere(panorama)) return fail(std::move(*error));
  const Rig views = views_of_sphere(panorama.width());
  std::vector<Image> pictures;
  {
    const WrappedPanorama source(panorama);
    for (const MountedLens& view : views.lenses) pictures.push_back(look(source, view));
  }
  const auto lines = find_plumb_lines(pictures, views, 0, line_options());
  if (!lines) return tl::unexpected(lines.error());
  return find_vertical(edge_planes(views, *lines), options);
}

Result<Image> turn_panorama(const Image& panorama, const Quat& turned_from_panorama,
                            const ProgressFn& progress) {
  if (auto error = check_whole_sphere(panorama)) return fail(std::move(*error));
  if (const auto columns = whole_columns(turned_from_panorama, panorama.width())) {
    return moved(panorama, *columns);
  }
  const WrappedPanorama source(panorama);
  const KernelWeights kernel(ResampleKernel::catmull_rom);
  const PictureSampler sampler(source.bordered(), kernel);
  const Channels channels = sampler.colours() == 3 ? Channels::rgb : Channels::grey;
  Image out(panorama.width(), panorama.height(), channels, panorama.type());
  out.take_meaning_of(panorama);
  const Quat back = turned_from_panorama.conjugate();
  constexpr int kBandRows = 128;
  for (int top = 0; top < out.height(); top += kBandRows) {
    if (!tell(progress, "turning", static_cast<double>(top) / out.height())) {
      return fail(stopped_while("turning"));
    }
    parallel_for(top, std::min(top + kBandRows, out.height()), [&](int y) {
      switch (out.type()) {
        case SampleType::u8:
          return turn_row<std::uint8_t>(source, sampler, back, out, y);
        case SampleType::u16:
          return turn_row<std::uint16_t>(source, sampler, back, out, y);
        case SampleType::f32:
          return turn_row<float>(source, sampler, back, out, y);
      }
    });
  }
  return out;
}

Image mirror_image(const Image& image) {
  Image out = image;
  const std::size_t pixel = image.row_bytes() / static_cast<std::size_t>(image.width());
  for (int y = 0; y < image.height(); ++y) {
    const std::byte* from = image.bytes().data() + static_cast<std::size_t>(y) * image.row_bytes();
    std::byte* to = out.bytes().data() + static_cast<std::size_t>(y + 1) * out.row_bytes();
    for (int x = 0; x < image.width(); ++x) {
      to -= pixel;
      std::memcpy(to, from, pixel);
      from += pixel;
    }
  }
  return out;
}

}  // namespace seamwright
