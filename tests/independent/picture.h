#pragma once

// Pictures in linear light, and the files they come from and go to.
//
// Nothing in tests/independent includes a header of the project or links a library of it: what is
// measured here must not share a mistake with what it measures.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace independent {

/// Red, green, blue; rows from the top.
struct Picture {
  int width = 0;
  int height = 0;
  std::vector<float> samples;

  Picture() = default;
  Picture(int w, int h)
      : width(w),
        height(h),
        samples(3 * static_cast<std::size_t>(w) * static_cast<std::size_t>(h)) {}

  [[nodiscard]] float& at(int x, int y, int channel) { return samples[index(x, y, channel)]; }
  [[nodiscard]] float at(int x, int y, int channel) const { return samples[index(x, y, channel)]; }

 private:
  [[nodiscard]] std::size_t index(int x, int y, int channel) const {
    return 3 * (static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                static_cast<std::size_t>(x)) +
           static_cast<std::size_t>(channel);
  }
};

/// sRGB, IEC 61966-2-1: code 0…1 of light 0…1, and back.
[[nodiscard]] double srgb_code(double light);
[[nodiscard]] double srgb_light(double code);

/// OpenEXR, as it is. All readers throw std::runtime_error that names the file.
[[nodiscard]] Picture read_exr(const std::string& file);

/// TIFF of 16-bit sRGB codes, brought to light, or of floats, as they are. A fourth channel is left
/// out.
[[nodiscard]] Picture read_tiff(const std::string& file);

/// Codes 0…1 as a 16-bit TIFF, deflated.
void write_tiff(const std::string& file, const Picture& codes);

/// Codes 0…1 as a JPEG with colours at half the size (4:2:0).
void write_jpeg(const std::string& file, const Picture& codes, int quality);

/// Two pictures of one height, side by side.
[[nodiscard]] Picture side_by_side(const Picture& left, const Picture& right);

}  // namespace independent
