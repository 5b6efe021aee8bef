#include "jobs/shot/ribbon_pictures.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <string>

#include <fmt/format.h>

#include "base/file_guard.h"
#include "base/make_folder.h"
#include "imaging/quantise.h"
#include "imaging/transfer.h"
#include "imaging/viridis.h"
#include "imaging/write_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

using Rgb8 = std::array<std::uint8_t, 3>;

Rgb8 seen_pixel(const Image& light, int x, int y) {
  const auto channels = static_cast<std::size_t>(light.channel_count());
  const auto row = light.row<float>(y);
  Rgb8 pixel{};
  for (std::size_t c = 0; c < 3; ++c) {
    const float value = row[static_cast<std::size_t>(x) * channels + (channels == 3 ? c : 0)];
    pixel[c] = sample_from_unit<std::uint8_t>(
        static_cast<float>(linear_to_srgb(static_cast<double>(value))));
  }
  return pixel;
}

// A picture of `like`'s size whose pixel (x, y) is colour(x, y).
template <class ColourAt>
Image painted(const Image& like, const ColourAt& colour) {
  Image picture(like.width(), like.height(), Channels::rgb, SampleType::u8);
  for (int y = 0; y < like.height(); ++y) {
    const auto row = picture.row<std::uint8_t>(y);
    for (int x = 0; x < like.width(); ++x) {
      const Rgb8 pixel = colour(x, y);
      std::copy(pixel.begin(), pixel.end(), row.begin() + 3 * static_cast<std::ptrdiff_t>(x));
    }
  }
  return picture;
}

Image view_picture(const Image& light) {
  return painted(light, [&](int x, int y) { return seen_pixel(light, x, y); });
}

Image depth_picture(const Image& inverse) {
  constexpr int kColours = 256;
  std::array<Rgb8, kColours> colours{};
  for (int i = 0; i < kColours; ++i) {
    colours[static_cast<std::size_t>(i)] = viridis(i / (kColours - 1.0));
  }
  float nearest = 0;
  for (int y = 0; y < inverse.height(); ++y) {
    const auto row = inverse.row<float>(y);
    nearest = std::max(nearest, *std::max_element(row.begin(), row.end()));
  }
  return painted(inverse, [&](int x, int y) {
    const float value = inverse.row<float>(y)[static_cast<std::size_t>(x)];
    const float share = nearest > 0 ? value / nearest : 0;
    return colours[static_cast<std::size_t>(share * (kColours - 1))];
  });
}

Image seam_picture(const PairSeam& pair) {
  constexpr Rgb8 kLine = {255, 255, 0};
  const SeamViews& views = *pair.views;
  return painted(views.light_a, [&](int x, int y) {
    const double above = pair.path.row_at(x + 0.5) - (y + 0.5);
    if (above > -0.5 && above <= 0.5) return kLine;
    return seen_pixel(above > 0 ? views.light_a : views.light_b, x, y);
  });
}

}  // namespace

Result<void> write_ribbon_pictures(const SeamPlan& plan, const fs::path& folder) {
  if (auto made = make_folder(folder, "save_ribbon"); !made) return made;
  std::vector<std::pair<fs::path, Image>> pictures;
  for (const PairSeam& pair : plan.pairs) {
    const auto a = pair.lens_a;
    const auto b = pair.lens_b;
    const auto add = [&](const std::string& what, Image picture) {
      pictures.emplace_back(folder / fmt::format("lens{}-lens{}.{}", a, b, what),
                            std::move(picture));
    };
    add(fmt::format("infinity-{}.png", a), view_picture(pair.unwarped->light_a));
    add(fmt::format("infinity-{}.png", b), view_picture(pair.unwarped->light_b));
    add(fmt::format("warped-{}.png", a), view_picture(pair.views->light_a));
    add(fmt::format("warped-{}.png", b), view_picture(pair.views->light_b));
    add("depth.png", depth_picture(pair.warp.inverse_m));
    add("depth.tif", pair.warp.inverse_m);
    add("seam.png", seam_picture(pair));
  }
  std::vector<fs::path> files;
  for (const auto& [file, picture] : pictures) files.push_back(file);
  if (auto free = check_destinations(files); !free) return free;
  for (const auto& [file, picture] : pictures) {
    if (auto done = write_image(file, picture); !done) return done;
  }
  return {};
}

}  // namespace seamwright
