#pragma once

// Small files that claim to be gigantic pictures, and how much memory a look at them takes.

#include <array>
#include <cstdint>
#include <cstdio>
#include <fstream>
#include <map>
#include <string>
#include <string_view>

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

namespace seamwright::test {

/// `bytes` of a number, the highest first.
[[nodiscard]] inline std::string big_endian(std::uint64_t number, int bytes) {
  std::string text;
  for (int i = bytes - 1; i >= 0; --i) text += static_cast<char>((number >> (8 * i)) & 0xFFU);
  return text;
}

/// CRC-32 of a PNG chunk (ISO/IEC 15948, annex D).
[[nodiscard]] inline std::uint32_t png_checksum(std::string_view bytes) {
  std::uint32_t crc = 0xFFFFFFFFU;
  for (const char c : bytes) {
    crc ^= static_cast<unsigned char>(c);
    for (int bit = 0; bit < 8; ++bit) crc = (crc >> 1U) ^ ((crc & 1U) != 0 ? 0xEDB88320U : 0U);
  }
  return ~crc;
}

[[nodiscard]] inline std::string png_chunk(const std::string& kind, const std::string& data) {
  return big_endian(data.size(), 4) + kind + data + big_endian(png_checksum(kind + data), 4);
}

/// Up to the pixels, which are `pixels`: not what the header says.
[[nodiscard]] inline std::string png_claiming(std::uint32_t width, std::uint32_t height, int bits,
                                              int colour_type, const std::string& pixels) {
  std::string header = big_endian(width, 4) + big_endian(height, 4);
  header += static_cast<char>(bits);
  header += static_cast<char>(colour_type);
  header += std::string(3, '\0');
  std::string bytes = "\x89PNG\r\n\x1A\n" + png_chunk("IHDR", header);
  if (colour_type == 3) bytes += png_chunk("PLTE", std::string(6, '\x7F'));
  return bytes + png_chunk("IDAT", pixels) + png_chunk("IEND", {});
}

/// Start of image and of frame (ITU-T T.81, B.2.2), then `rest`.
[[nodiscard]] inline std::string jpeg_claiming(int width, int height, bool progressive,
                                               const std::string& rest) {
  std::string bytes = std::string("\xFF\xD8\xFF", 3) + (progressive ? '\xC2' : '\xC0');
  bytes += big_endian(17, 2) + '\x08' + big_endian(static_cast<std::uint64_t>(height), 2) +
           big_endian(static_cast<std::uint64_t>(width), 2) + '\x03';
  for (int i = 1; i <= 3; ++i) bytes += std::string{static_cast<char>(i), '\x11', '\0'};
  bytes += std::string("\xFF\xDA\0\x0C\x03\x01\0\x02\0\x03\0\0\x3F\0", 14);  // start of scan
  return bytes + rest;
}

/// Classic, big-endian, one strip or tiles; 16-bit RGB (TIFF 6.0, section 2).
[[nodiscard]] inline std::string tiff_giant(std::uint32_t width, std::uint32_t height,
                                            std::uint32_t tile, std::uint32_t compression,
                                            const std::string& pixels) {
  constexpr std::uint32_t kPixelsAt = 8;
  const auto count = static_cast<std::uint32_t>(pixels.size());
  std::map<std::uint32_t, std::uint32_t> fields = {{256, width},       {257, height}, {258, 16},
                                                   {259, compression}, {262, 2},      {277, 3}};
  if (tile > 0) {
    fields.insert({{322, tile}, {323, tile}, {324, kPixelsAt}, {325, count}});
  } else {
    fields.insert({{273, kPixelsAt}, {278, height}, {279, count}});
  }
  std::string bytes = std::string("MM\0*", 4) + big_endian(kPixelsAt + count, 4) + pixels;
  bytes += big_endian(fields.size(), 2);
  for (const auto& [tag, value] : fields) {
    bytes += big_endian(tag, 2) + big_endian(4, 2) + big_endian(1, 4) + big_endian(value, 4);
  }
  return bytes + big_endian(0, 4);
}

/// An OpenEXR file's start (OpenEXR file layout: magic number, version, attributes) with a huge
/// data window.
[[nodiscard]] inline std::string exr_claiming(const std::string& rest) {
  using std::string_literals::operator""s;
  const std::string window = "\0\0\0\0\0\0\0\0\xFF\xFF\xFF\x0F\xFF\xFF\xFF\x0F"s;
  return "\x76\x2F\x31\x01\x02\0\0\0"s + "dataWindow\0box2i\0\x10\0\0\0"s + window +
         "displayWindow\0box2i\0\x10\0\0\0"s + window + "\0"s + rest;
}

/// By name. None of them can hold the picture that it claims.
[[nodiscard]] inline std::map<std::string, std::string> giants() {
  const std::string some(60'000, '\x55');
  const std::string more(1'200'000, '\x55');
  return {
      {"header.png", png_claiming(60'000, 60'000, 16, 6, "")},
      {"bytes.png", png_claiming(32'000, 32'000, 8, 2, some)},
      {"bits.png", png_claiming(31'000, 31'000, 1, 3, some)},
      {"broken.png", png_claiming(20'000, 20'000, 8, 2, more)},
      {"header.jpg", jpeg_claiming(65'000, 65'000, false, "")},
      {"bytes.jpg", jpeg_claiming(20'000, 20'000, false, more)},
      {"scans.jpg", jpeg_claiming(20'000, 20'000, true, more)},
      {"plain.tif", tiff_giant(900'000, 900'000, 0, 1, some)},
      {"deflate.tif", tiff_giant(20'000, 20'000, 0, 8, more)},
      {"tile.tif", tiff_giant(16, 16, 20'000 / 16 * 16, 8, more)},
      {"header.exr", exr_claiming("")},
      {"bytes.exr", exr_claiming(some)},
      {"no_suffix", exr_claiming(some)},
  };
}

struct Peak {
  int exit_code = -1;  ///< 128 + signal where it was killed
  long grown_kib = 0;  ///< beyond what this process held when it began
};

/// Runs `work` in a process of its own; its result is the exit code.
template <class Work>
[[nodiscard]] Peak peak_of(Work&& work) {
  long pages = 0;
  std::ifstream("/proc/self/statm") >> pages >> pages;  // the second one: resident
  const long held_kib = pages * ::sysconf(_SC_PAGESIZE) / 1024;
  std::fflush(nullptr);
  const pid_t child = ::fork();
  if (child == 0) ::_exit(work());
  int status = 0;
  rusage usage{};
  if (child < 0 || ::wait4(child, &status, 0, &usage) != child) return {};
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status),
          usage.ru_maxrss - held_kib};
}

}  // namespace seamwright::test
