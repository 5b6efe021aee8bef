#pragma once

#include <cmath>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"

namespace seamwright::test {

// The same picture at another exposure, 16-bit sRGB codes, cut at white.
inline Image exposed(const Image& image, double factor) {
  Image result(image.width(), image.height(), image.channels(), SampleType::u16);
  result.icc_profile = image.icc_profile;
  const TransferCurve curve = TransferCurve::srgb();
  std::vector<float> light(static_cast<std::size_t>(3 * image.width()));
  for (int y = 0; y < image.height(); ++y) {
    curve.decode_row(image.row<std::uint16_t>(y), image.channels(), std::span<float>(light));
    for (float& value : light) value *= static_cast<float>(factor);
    curve.encode_row(std::span<const float>(light), image.channels(), result.row<std::uint16_t>(y));
  }
  return result;
}

inline FrameInfo info_of(int second, double ev, const std::string& lens) {
  FrameInfo info;
  info.taken_at = fmt::format("2024:05:14 09:00:{:02}", second);
  info.exposure_s = std::exp2(ev) / 8;
  info.iso = 200;
  info.f_number = 4;
  info.body_make = "Lantern";
  info.body_model = "Lantern Two";
  info.lens_model = "Lantern fisheye " + lens;
  return info;
}

inline constexpr double kSteps_ev[] = {-3, 0, 2};

// Brackets of a small shot in a folder of their own: room_<step>_<lens>.tif.
inline std::string take_brackets(const SmallShot& shot) {
  const std::string folder = shot.at("card");
  std::filesystem::create_directory(folder);
  for (const std::string lens : {"front", "back"}) {
    const auto picture = read_image(shot.at(lens + ".tif"));
    REQUIRE(picture);
    for (int i = 0; i < 3; ++i) {
      // Darker than the single frame, so that the shortest one is nowhere clipped.
      const Image frame = exposed(*picture, 0.9 * std::exp2(kSteps_ev[i]));
      REQUIRE(write_image(fmt::format("{}/room_{}_{}.tif", folder, i + 1, lens), frame,
                          {.info = info_of(i, kSteps_ev[i], lens)}));
    }
  }
  return folder;
}

}  // namespace seamwright::test
