#include "imaging/raw_reader.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <memory>

#include <fmt/format.h>
#include <libraw/libraw.h>

#include "base/lower_suffix.h"
#include "imaging/convert.h"
#include "imaging/icc.h"
#include "imaging/picture_error.h"
#include "imaging/picture_limit.h"

namespace seamwright {
namespace {

// LibRaw keeps the mosaic, four words a pixel while it fills it, and the finished picture.
constexpr int kDecoderBytes = 2 + 8 + 6;
constexpr int kSampleBytes = 6;

bool is_picture_suffix(const std::string& suffix) {
  return suffix == ".tif" || suffix == ".tiff" || suffix == ".png" || suffix == ".jpg" ||
         suffix == ".jpeg" || suffix == ".exr";
}

// On the heap: the processor is larger than a stack likes.
std::unique_ptr<LibRaw> processor() {
  auto raw = std::make_unique<LibRaw>();
  // The last parameter's type differs between versions.
  raw->set_dataerror_handler([](void*, const char*, auto) {}, nullptr);
  libraw_output_params_t& p = raw->imgdata.params;
  p.output_bps = 16;
  p.gamm[0] = p.gamm[1] = 1;
  p.no_auto_bright = 1;
  p.adjust_maximum_thr = 0;  // white is what the file says, not what this picture holds
  p.use_camera_wb = 1;
  p.use_camera_matrix = 3;
  p.highlight = 0;
  p.output_color = 0;
  p.user_qual = 3;
  return raw;
}

Error raw_error(const std::filesystem::path& path, int code) {
  return broken_picture(path, libraw_strerror(code));
}

// Linear light of BT.709 primaries in BT.2020 ones, both D65 (Rec. ITU-R BT.2087-0 prints the same
// with four digits).
constexpr std::array<double, 9> kWideFromSrgb = {0.6274038959, 0.3292830384, 0.0433130657,
                                                 0.0690972894, 0.9195403951, 0.0113623156,
                                                 0.0163914389, 0.0880133079, 0.8955952532};

std::array<double, 9> wide_from_camera(const libraw_colordata_t& colour) {
  std::array<double, 9> matrix{};
  for (std::size_t i = 0; i < 3; ++i) {
    double sum = 0;
    for (std::size_t j = 0; j < 3; ++j) {
      for (std::size_t k = 0; k < 3; ++k) {
        matrix[3 * i + j] += kWideFromSrgb[3 * i + k] * static_cast<double>(colour.rgb_cam[k][j]);
      }
      sum += matrix[3 * i + j];
    }
    for (std::size_t j = 0; j < 3; ++j) matrix[3 * i + j] /= sum;
  }
  return matrix;
}

bool is_finite(const std::array<double, 9>& matrix) {
  return std::all_of(matrix.begin(), matrix.end(), [](double v) { return std::isfinite(v); });
}

struct FreeMemory {
  void operator()(libraw_processed_image_t* image) const { LibRaw::dcraw_clear_mem(image); }
};

}  // namespace

bool is_raw_file(const std::filesystem::path& path) {
  const std::string suffix = lower_suffix(path);
  if (is_picture_suffix(suffix)) return false;
  const auto raw = processor();
  return raw->open_file(path.string().c_str()) == LIBRAW_SUCCESS;
}

Result<CameraPicture> read_camera_picture(const std::filesystem::path& path) {
  const auto raw = processor();
  if (const int code = raw->open_file(path.string().c_str()); code != LIBRAW_SUCCESS) {
    return fail(raw_error(path, code));
  }
  const libraw_image_sizes_t& sizes = raw->imgdata.sizes;
  if (auto ok = check_picture_limit(path, std::max(sizes.raw_width, sizes.width),
                                    std::max(sizes.raw_height, sizes.height),
                                    kSampleBytes + kDecoderBytes);
      !ok) {
    return tl::unexpected(ok.error());
  }
  if (const int code = raw->unpack(); code != LIBRAW_SUCCESS) return fail(raw_error(path, code));
  if (raw->imgdata.idata.colors != 3 || raw->imgdata.idata.filters == 0) {
    return fail(unsupported_picture(
        path, fmt::format("a sensor of {} colours is not read", raw->imgdata.idata.colors),
        "develop it into a linear 16-bit TIFF first"));
  }
  if (const int code = raw->dcraw_process(); code != LIBRAW_SUCCESS) {
    return fail(raw_error(path, code));
  }
  int code = LIBRAW_SUCCESS;
  const std::unique_ptr<libraw_processed_image_t, FreeMemory> made(
      raw->dcraw_make_mem_image(&code));
  if (!made || made->colors != 3 || made->bits != 16) return fail(raw_error(path, code));
  CameraPicture picture{.image = Image(made->width, made->height, Channels::rgb, SampleType::u16),
                        .wide_from_camera = wide_from_camera(raw->imgdata.color)};
  if (!is_finite(picture.wide_from_camera)) return fail(broken_picture(path, "its colour matrix"));
  picture.image.transfer = Transfer::linear;
  picture.image.file = path.string();
  const auto bytes = picture.image.bytes();
  if (bytes.size() != made->data_size) return fail(raw_error(path, LIBRAW_DATA_ERROR));
  std::memcpy(bytes.data(), made->data, bytes.size());
  return picture;
}

Image in_working_space(const Image& camera_light, const std::array<double, 9>& wide_from_camera) {
  Image wide(camera_light.width(), camera_light.height(), Channels::rgb, SampleType::f32);
  wide.transfer = Transfer::linear;
  wide.icc_profile = make_wide_profile(Transfer::linear);
  for (int y = 0; y < wide.height(); ++y) {
    const auto in = camera_light.row<float>(y);
    auto out = wide.row<float>(y);
    for (std::size_t x = 0; x < in.size(); x += 3) {
      for (std::size_t i = 0; i < 3; ++i) {
        double sum = 0;
        for (std::size_t j = 0; j < 3; ++j) {
          sum += wide_from_camera[3 * i + j] * static_cast<double>(in[x + j]);
        }
        out[x + i] = static_cast<float>(sum);
      }
    }
  }
  return wide;
}

Result<Image> read_raw(const PictureFile& file) {
  const auto picture = read_camera_picture(file.path);
  if (!picture) return tl::unexpected(picture.error());
  const Image wide =
      in_working_space(to_type(picture->image, SampleType::f32), picture->wide_from_camera);
  return to_type(wide, SampleType::u16);
}

Result<ImageHeader> read_raw_header(const PictureFile& file) {
  const auto raw = processor();
  int code = raw->open_file(file.path.string().c_str());
  if (code == LIBRAW_SUCCESS) code = raw->adjust_sizes_info_only();
  if (code != LIBRAW_SUCCESS) return fail(raw_error(file.path, code));
  ImageHeader header;
  header.format = "raw";
  header.width = raw->imgdata.sizes.iwidth;
  header.height = raw->imgdata.sizes.iheight;
  header.channels = Channels::rgb;
  header.type = SampleType::u16;
  header.bits_per_sample = 16;
  header.compression = "none";
  header.decoder_bytes_per_pixel = kDecoderBytes;
  return header;
}

}  // namespace seamwright
