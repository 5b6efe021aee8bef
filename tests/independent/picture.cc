#include "picture.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <memory>
#include <stdexcept>

#include <ImathBox.h>
#include <ImfArray.h>
#include <ImfRgbaFile.h>
#include <jpeglib.h>
#include <tiffio.h>

namespace independent {

namespace {

struct TiffCloser {
  void operator()(TIFF* tiff) const { TIFFClose(tiff); }
};
using Tiff = std::unique_ptr<TIFF, TiffCloser>;

Tiff open_tiff(const std::string& file, const char* mode) {
  Tiff tiff(TIFFOpen(file.c_str(), mode));
  if (!tiff) throw std::runtime_error("cannot open " + file);
  return tiff;
}

std::uint16_t sixteen_bits(float code) {
  return static_cast<std::uint16_t>(std::lround(65535 * std::clamp(code, 0.0F, 1.0F)));
}

}  // namespace

double srgb_code(double light) {
  return light <= 0.0031308 ? 12.92 * light : 1.055 * std::pow(light, 1 / 2.4) - 0.055;
}

double srgb_light(double code) {
  return code <= 0.04045 ? code / 12.92 : std::pow((code + 0.055) / 1.055, 2.4);
}

Picture read_exr(const std::string& file) {
  Imf::RgbaInputFile in(file.c_str());
  const Imath::Box2i window = in.dataWindow();
  Picture picture(window.max.x - window.min.x + 1, window.max.y - window.min.y + 1);
  Imf::Array2D<Imf::Rgba> pixels(picture.height, picture.width);
  in.setFrameBuffer(&pixels[0][0] - window.min.x - window.min.y * picture.width, 1,
                    static_cast<std::size_t>(picture.width));
  in.readPixels(window.min.y, window.max.y);
  for (int y = 0; y < picture.height; ++y) {
    for (int x = 0; x < picture.width; ++x) {
      picture.at(x, y, 0) = pixels[y][x].r;
      picture.at(x, y, 1) = pixels[y][x].g;
      picture.at(x, y, 2) = pixels[y][x].b;
    }
  }
  return picture;
}

Picture read_tiff(const std::string& file) {
  const Tiff tiff = open_tiff(file, "r");
  std::uint32_t width = 0;
  std::uint32_t height = 0;
  std::uint16_t channels = 0;
  std::uint16_t bits = 0;
  std::uint16_t format = SAMPLEFORMAT_UINT;
  TIFFGetField(tiff.get(), TIFFTAG_IMAGEWIDTH, &width);
  TIFFGetField(tiff.get(), TIFFTAG_IMAGELENGTH, &height);
  TIFFGetField(tiff.get(), TIFFTAG_SAMPLESPERPIXEL, &channels);
  TIFFGetField(tiff.get(), TIFFTAG_BITSPERSAMPLE, &bits);
  TIFFGetField(tiff.get(), TIFFTAG_SAMPLEFORMAT, &format);
  const bool floats = format == SAMPLEFORMAT_IEEEFP && bits == 32;
  if (channels < 3 || (!floats && bits != 16)) {
    throw std::runtime_error(file + ": neither 16-bit nor float RGB");
  }
  Picture picture(static_cast<int>(width), static_cast<int>(height));
  std::vector<std::byte> row(static_cast<std::size_t>(TIFFScanlineSize(tiff.get())));
  for (int y = 0; y < picture.height; ++y) {
    if (TIFFReadScanline(tiff.get(), row.data(), static_cast<std::uint32_t>(y)) != 1) {
      throw std::runtime_error("cannot read " + file);
    }
    for (int x = 0; x < picture.width; ++x) {
      for (int c = 0; c < 3; ++c) {
        const int i = x * channels + c;
        picture.at(x, y, c) =
            floats ? reinterpret_cast<const float*>(row.data())[i]
                   : static_cast<float>(srgb_light(
                         reinterpret_cast<const std::uint16_t*>(row.data())[i] / 65535.0));
      }
    }
  }
  return picture;
}

void write_tiff(const std::string& file, const Picture& codes) {
  const Tiff tiff = open_tiff(file, "w");
  TIFFSetField(tiff.get(), TIFFTAG_IMAGEWIDTH, codes.width);
  TIFFSetField(tiff.get(), TIFFTAG_IMAGELENGTH, codes.height);
  TIFFSetField(tiff.get(), TIFFTAG_SAMPLESPERPIXEL, 3);
  TIFFSetField(tiff.get(), TIFFTAG_BITSPERSAMPLE, 16);
  TIFFSetField(tiff.get(), TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_RGB);
  TIFFSetField(tiff.get(), TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
  TIFFSetField(tiff.get(), TIFFTAG_ROWSPERSTRIP, 64);
  std::vector<std::uint16_t> row(3 * static_cast<std::size_t>(codes.width));
  for (int y = 0; y < codes.height; ++y) {
    for (int x = 0; x < codes.width; ++x) {
      for (int c = 0; c < 3; ++c) {
        row[static_cast<std::size_t>(3 * x + c)] = sixteen_bits(codes.at(x, y, c));
      }
    }
    if (TIFFWriteScanline(tiff.get(), row.data(), static_cast<std::uint32_t>(y)) != 1) {
      throw std::runtime_error("cannot write " + file);
    }
  }
}

void write_jpeg(const std::string& file, const Picture& codes, int quality) {
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> out(std::fopen(file.c_str(), "wb"),
                                                            &std::fclose);
  if (!out) throw std::runtime_error("cannot write " + file);
  jpeg_compress_struct jpeg{};
  jpeg_error_mgr errors{};
  jpeg.err = jpeg_std_error(&errors);
  jpeg_create_compress(&jpeg);
  jpeg_stdio_dest(&jpeg, out.get());
  jpeg.image_width = static_cast<JDIMENSION>(codes.width);
  jpeg.image_height = static_cast<JDIMENSION>(codes.height);
  jpeg.input_components = 3;
  jpeg.in_color_space = JCS_RGB;
  jpeg_set_defaults(&jpeg);
  jpeg_set_quality(&jpeg, quality, TRUE);
  jpeg.comp_info[0].h_samp_factor = 2;
  jpeg.comp_info[0].v_samp_factor = 2;
  jpeg_start_compress(&jpeg, TRUE);
  std::vector<JSAMPLE> row(3 * static_cast<std::size_t>(codes.width));
  for (int y = 0; y < codes.height; ++y) {
    for (int x = 0; x < codes.width; ++x) {
      for (int c = 0; c < 3; ++c) {
        row[static_cast<std::size_t>(3 * x + c)] =
            static_cast<JSAMPLE>(std::lround(255 * std::clamp(codes.at(x, y, c), 0.0F, 1.0F)));
      }
    }
    JSAMPROW line = row.data();
    jpeg_write_scanlines(&jpeg, &line, 1);
  }
  jpeg_finish_compress(&jpeg);
  jpeg_destroy_compress(&jpeg);
}

Picture side_by_side(const Picture& left, const Picture& right) {
  Picture both(left.width + right.width, left.height);
  for (int y = 0; y < both.height; ++y) {
    for (int x = 0; x < both.width; ++x) {
      for (int c = 0; c < 3; ++c) {
        both.at(x, y, c) = x < left.width ? left.at(x, y, c) : right.at(x - left.width, y, c);
      }
    }
  }
  return both;
}

}  // namespace independent
