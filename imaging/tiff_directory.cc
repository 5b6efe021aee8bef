#include "imaging/tiff_directory.h"

#include <algorithm>

#include <fmt/format.h>

#include "imaging/picture_error.h"

namespace seamwright {
namespace {

template <class T>
T field(const TiffHandle& handle, std::uint32_t tag, T otherwise) {
  T value = otherwise;
  return TIFFGetFieldDefaulted(handle.get(), tag, &value) == 1 ? value : otherwise;
}

Result<SampleType> sample_type(const TiffHandle& handle, const PictureFile& file) {
  const auto bits = field<std::uint16_t>(handle, TIFFTAG_BITSPERSAMPLE, 1);
  const auto format = field<std::uint16_t>(handle, TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_UINT);
  const bool is_unsigned = format == SAMPLEFORMAT_UINT || format == SAMPLEFORMAT_VOID;
  if (is_unsigned && bits == 8) return SampleType::u8;
  if (is_unsigned && bits == 16) return SampleType::u16;
  if (format == SAMPLEFORMAT_IEEEFP && bits == 32) return SampleType::f32;
  const char* kind = is_unsigned                     ? "unsigned"
                     : format == SAMPLEFORMAT_INT    ? "signed"
                     : format == SAMPLEFORMAT_IEEEFP ? "floating point"
                                                     : "complex";
  return fail(unsupported_picture(file.path, fmt::format("has {}-bit {} samples", bits, kind),
                                  "save it with 8 or 16 bits unsigned or 32 bits float"));
}

const char* name_of_photometric(std::uint16_t photometric) {
  switch (photometric) {
    case PHOTOMETRIC_PALETTE:
      return "palette";
    case PHOTOMETRIC_SEPARATED:
      return "CMYK";
    case PHOTOMETRIC_YCBCR:
      return "YCbCr";
    case PHOTOMETRIC_CIELAB:
    case PHOTOMETRIC_ICCLAB:
    case PHOTOMETRIC_ITULAB:
      return "L*a*b*";
    case PHOTOMETRIC_CFA:
      return "raw sensor";
    case PHOTOMETRIC_MASK:
      return "mask";
    default:
      return "unknown";
  }
}

Result<Channels> pixel_channels(const TiffHandle& handle, const PictureFile& file) {
  const auto photometric =
      field<std::uint16_t>(handle, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_MINISWHITE);
  const auto samples = field<std::uint16_t>(handle, TIFFTAG_SAMPLESPERPIXEL, 1);
  const bool grey = photometric == PHOTOMETRIC_MINISBLACK || photometric == PHOTOMETRIC_MINISWHITE;
  if (!grey && photometric != PHOTOMETRIC_RGB) {
    return fail(unsupported_picture(file.path,
                                    fmt::format("has {} colours", name_of_photometric(photometric)),
                                    "save it as RGB or grey"));
  }
  if (grey && samples == 1) return Channels::grey;
  if (grey && samples == 2) return Channels::grey_alpha;
  if (!grey && samples == 3) return Channels::rgb;
  if (!grey && samples == 4) return Channels::rgba;
  return fail(unsupported_picture(
      file.path, fmt::format("has {} channels of {}", samples, grey ? "grey" : "RGB"),
      "save it as grey or RGB, with at most one alpha channel"));
}

Result<void> check_compression(std::uint16_t compression, const PictureFile& file) {
  switch (compression) {
    case COMPRESSION_NONE:
    case COMPRESSION_LZW:
    case COMPRESSION_ADOBE_DEFLATE:
    case COMPRESSION_DEFLATE:
    case COMPRESSION_PACKBITS:
      return {};
    default:
      return fail(unsupported_picture(file.path,
                                      fmt::format("uses TIFF compression {}", compression),
                                      "save it uncompressed or with LZW or deflate"));
  }
}

// Blocks of a tile or strip; a strip may claim more rows than there are.
Result<void> read_blocks(const TiffHandle& handle, const PictureFile& file,
                         TiffDirectory& directory) {
  directory.tiled = TIFFIsTiled(handle.get()) != 0;
  if (directory.tiled) {
    directory.block_width = field<std::uint32_t>(handle, TIFFTAG_TILEWIDTH, 0);
    directory.block_height = field<std::uint32_t>(handle, TIFFTAG_TILELENGTH, 0);
  } else {
    const auto rows = field<std::uint32_t>(handle, TIFFTAG_ROWSPERSTRIP, directory.height);
    directory.block_width = directory.width;
    directory.block_height = std::clamp(rows, 1U, directory.height);
  }
  // A tile decompresses to all of its area, even where it reaches beyond the picture.
  return check_picture_size(file.path, directory.block_width, directory.block_height,
                            8 * directory.pixel_bytes(), file.bytes, kMostExpansion);
}

std::vector<std::byte> icc_profile(const TiffHandle& handle) {
  std::uint32_t size = 0;
  void* data = nullptr;
  if (TIFFGetField(handle.get(), TIFFTAG_ICCPROFILE, &size, &data) != 1 || data == nullptr) {
    return {};
  }
  const auto* bytes = static_cast<const std::byte*>(data);
  return {bytes, bytes + size};
}

bool is_premultiplied(const TiffHandle& handle, Channels channels) {
  std::uint16_t count = 0;
  std::uint16_t* kinds = nullptr;
  return has_alpha(channels) &&
         TIFFGetField(handle.get(), TIFFTAG_EXTRASAMPLES, &count, &kinds) == 1 && count > 0 &&
         kinds[0] == EXTRASAMPLE_ASSOCALPHA;
}

}  // namespace

Result<TiffDirectory> read_tiff_directory(const TiffHandle& handle, const PictureFile& file) {
  TiffDirectory directory;
  const auto channels = pixel_channels(handle, file);
  if (!channels) return tl::unexpected(channels.error());
  const auto type = sample_type(handle, file);
  if (!type) return tl::unexpected(type.error());
  directory.channels = *channels;
  directory.type = *type;
  directory.width = field<std::uint32_t>(handle, TIFFTAG_IMAGEWIDTH, 0);
  directory.height = field<std::uint32_t>(handle, TIFFTAG_IMAGELENGTH, 0);
  directory.compression = field<std::uint16_t>(handle, TIFFTAG_COMPRESSION, COMPRESSION_NONE);
  if (auto ok = check_compression(directory.compression, file); !ok) {
    return tl::unexpected(ok.error());
  }
  const std::uint64_t expansion = directory.compression == COMPRESSION_NONE ? 1 : kMostExpansion;
  if (auto ok = check_picture_size(file.path, directory.width, directory.height,
                                   8 * directory.pixel_bytes(), file.bytes, expansion);
      !ok) {
    return tl::unexpected(ok.error());
  }
  if (auto ok = read_blocks(handle, file, directory); !ok) return tl::unexpected(ok.error());
  directory.planes_apart = field<std::uint16_t>(handle, TIFFTAG_PLANARCONFIG,
                                                PLANARCONFIG_CONTIG) == PLANARCONFIG_SEPARATE;
  directory.orientation = field<std::uint16_t>(handle, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
  directory.white_is_zero =
      field<std::uint16_t>(handle, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_RGB) == PHOTOMETRIC_MINISWHITE;
  directory.premultiplied = is_premultiplied(handle, directory.channels);
  directory.icc_profile = icc_profile(handle);
  return directory;
}

}  // namespace seamwright
