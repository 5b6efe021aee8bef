// TIFF, PNG, JPEG, EXR and raw files, EXIF, profiles and XMP in them, broken on purpose: read or
// refused in one line that names the file, with bounded memory, nothing printed, no crash.

#include <cmath>
#include <map>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <opencv2/imgcodecs.hpp>
#include <sys/resource.h>

#include "imaging/exif_reader.h"
#include "imaging/metadata.h"
#include "imaging/picture_limit.h"
#include "imaging/raw_reader.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/fuzz/kept_seeds.h"
#include "tests/fuzz/mutate.h"
#include "tests/imaging/dng.h"
#include "tests/imaging/pictures.h"
#include "tests/imaging/profiles.h"
#include "tests/imaging/raw_tiff.h"
#include "tests/imaging/silence.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::RawTiff;
using test::ScratchDir;

using Corpus = test::Seeds;

FrameInfo full_info() {
  return {.taken_at = "2024:11:25 13:37:00",
          .exposure_s = 0.5,
          .f_number = 4,
          .iso = 100,
          .exposure_bias_ev = -1.0,
          .focal_length_mm = 8.0,
          .body_make = "Lantern",
          .body_model = "Lantern Two",
          .body_serial = "0117",
          .lens_model = "Lantern fisheye",
          .location = Location{47.5, -8.25, 430.0}};
}

// As this program writes them, with all it writes into them.
void add_written(const ScratchDir& dir, Corpus& corpus) {
  Random random(101);
  const std::string xmp = gpano_xmp(PanoramaInfo::whole_sphere(40, 20));
  const Image bytes = test::smooth_image(40, 30, Channels::rgb);
  Image words = test::random_image(random, 40, 30, Channels::rgba, SampleType::u16);
  words.icc_profile = test::gamma_profile(2.2);
  const Image floats = test::random_image(random, 40, 30, Channels::rgb, SampleType::f32);
  const auto add = [&](const std::string& name, const Image& image, WriteOptions options) {
    options.info = full_info();
    options.xmp = xmp;
    REQUIRE(write_image(dir / name, image, options));
    corpus[name] = test::get_file(dir / name);
  };
  add("plain.tif", words, {});
  add("lzw.tif", words, {.tiff_compression = TiffCompression::lzw});
  add("deflate.tif", floats, {.tiff_compression = TiffCompression::deflate});
  add("float.tif", floats, {});
  add("big.tif", bytes, {.bigtiff = BigTiff::always});
  add("words.png", words, {});
  add("bytes.png", bytes, {});
  add("plain.jpg", bytes, {});
  add("light.exr", floats, {});
}

// What others write.
void add_foreign(const ScratchDir& dir, Corpus& corpus) {
  Random random(102);
  const Image bytes = test::smooth_image(40, 30, Channels::rgb);
  const Image grey = test::random_image(random, 40, 30, Channels::grey_alpha, SampleType::f32);
  test::write_raw_tiff(dir / "tiles.tif", bytes,
                       {.mode = "wb", .compression = COMPRESSION_LZW, .tiled = true});
  test::write_raw_tiff(dir / "planes.tif", bytes,
                       {.compression = COMPRESSION_ADOBE_DEFLATE, .planes_apart = true});
  test::write_raw_tiff(dir / "packbits.tif", bytes, {.compression = COMPRESSION_PACKBITS});
  test::write_raw_tiff(dir / "alpha.tif", grey,
                       {.orientation = 6, .extra_kind = EXTRASAMPLE_ASSOCALPHA});
  test::write_dng(dir / "raw.dng", 48, 32,
                  [](int x, int y, std::size_t) { return 0.2 + 0.01 * ((x + y) % 40); });
  const cv::Mat picture(30, 40, CV_8UC3, cv::Scalar(40, 90, 200));
  cv::imwrite((dir / "scans.jpg").string(), picture, {cv::IMWRITE_JPEG_PROGRESSIVE, 1});
  cv::imwrite((dir / "restarts.jpg").string(), picture, {cv::IMWRITE_JPEG_RST_INTERVAL, 1});
  cv::imwrite((dir / "bits.png").string(), cv::Mat(30, 40, CV_8UC1, cv::Scalar(255)),
              {cv::IMWRITE_PNG_BILEVEL, 1});
  for (const char* name : {"tiles.tif", "planes.tif", "packbits.tif", "alpha.tif", "raw.dng",
                           "scans.jpg", "restarts.jpg", "bits.png"}) {
    corpus[name] = test::get_file(dir / name);
  }
}

Corpus corpus() {
  const ScratchDir dir;
  Corpus files;
  add_written(dir, files);
  add_foreign(dir, files);
  REQUIRE(files.size() == 17);
  const Corpus kept = test::kept_seeds("pictures");
  const std::size_t both = files.size() + kept.size();
  files.insert(kept.begin(), kept.end());
  REQUIRE(files.size() == both);  // no name twice
  return files;
}

long peak_memory_kib() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

// What is wrong with an answer; empty: nothing.
std::string complaint_about(const Error& error, const std::string& name) {
  const std::string line = error.line();
  if (error.what.empty() || !test::contains(error.where, name)) return "unnamed: " + line;
  return line.find_first_of("\n\r") == std::string::npos ? "" : "several lines: " + line;
}

bool all_usable(const Image& image) {
  if (image.type() != SampleType::f32) return true;
  for (int y = 0; y < image.height(); ++y) {
    for (const float sample : image.row<float>(y)) {
      if (!std::isfinite(sample)) return false;
    }
  }
  return true;
}

// A picture that was read is put to use: its colours, its light.
std::string complaint_about(const Image& image, const std::string& name) {
  if (!all_usable(image)) return "samples that are not finite";
  const auto curve = TransferCurve::of(image);
  if (!curve) return complaint_about(curve.error(), name);
  return "";
}

std::string look_at(const std::filesystem::path& path, int& refused) {
  const std::string name = path.filename().string();
  const auto image = read_image(path);
  refused += image ? 0 : 1;
  std::string complaint =
      image ? complaint_about(*image, name) : complaint_about(image.error(), name);
  if (complaint.empty()) {
    const auto header = read_image_header(path);
    if (!header) complaint = complaint_about(header.error(), name);
  }
  static_cast<void>(read_frame_info(path));
  static_cast<void>(read_panorama_info(path));
  if (is_raw_file(path)) static_cast<void>(read_camera_picture(path));
  return complaint;
}

// Each file of the corpus, first as it is, then changed again and again.
void fuzz_pictures(int rounds, std::uint64_t stream) {
  CAPTURE(test::seed());
  const ScratchDir dir;
  const Corpus files = corpus();
  const auto count = static_cast<int>(files.size());
  // Small, so that no round decodes for long; what is larger is refused as it would be at 4 Gpx.
  const PictureLimitScope limit({.pixels = 4'000'000, .bytes = 64 << 20});
  Random random(stream);
  const long before = peak_memory_kib();
  int runs = 0;
  int refused = 0;
  std::vector<std::string> complaints;
  const std::string printed = test::printed_by([&] {
    for (const auto& [name, sound] : files) {
      const auto path = dir / name;
      for (int round = 0; round < rounds; ++round, ++runs) {
        const auto other = std::next(files.begin(), random.integer(0, count - 1));
        std::string bytes = sound;
        if (round > 0) bytes = test::mutated_bytes(random, sound, other->second);
        if (round > 0 && name.ends_with(".png") && random.chance(0.8)) {
          bytes = test::with_png_checksums(std::move(bytes));
        }
        // Anew each time: some file systems flush a file that is cut to nothing and written again.
        std::filesystem::remove(path);
        test::put_file(path, bytes);
        const std::string complaint = look_at(path, refused);
        if (!complaint.empty())
          complaints.push_back(fmt::format("{} {}: {}", name, round, complaint));
      }
    }
  });
  CHECK(printed.empty());
  CHECK(complaints == std::vector<std::string>{});
  CHECK(runs == rounds * count);
  CHECK(refused > runs / 10);
  CHECK(refused < runs);
  // The address sanitizer keeps freed memory for a while: 256 MiB by default.
  CHECK(peak_memory_kib() - before < 800 * 1024);
}

TEST_CASE("pictures broken on purpose are read or refused", "[fuzz]") {
  fuzz_pictures(test::fuzz_rounds(54), 103);
}

TEST_CASE("many more pictures broken on purpose are read or refused", "[fuzz][long]") {
  fuzz_pictures(test::fuzz_rounds(360), 104);
}

TEST_CASE("bare EXIF blocks broken on purpose are understood as far as they go", "[fuzz]") {
  CAPTURE(test::seed());
  const Corpus blocks = test::kept_seeds("exif");
  Random random(105);
  const auto count = static_cast<int>(blocks.size());
  int told = 0;
  int runs = 0;
  for (const auto& [name, sound] : blocks) {
    for (int round = 0; round < test::fuzz_rounds(80); ++round, ++runs) {
      const auto other = std::next(blocks.begin(), random.integer(0, count - 1));
      std::string bytes = sound;
      if (round > 0) bytes = test::mutated_bytes(random, sound, other->second);
      CAPTURE(name, round);
      const auto block = std::as_bytes(std::span(bytes));
      const FrameInfo info = parse_exif(block);
      for (const auto& value : {info.exposure_s, info.f_number, info.iso, info.exposure_bias_ev,
                                info.focal_length_mm}) {
        if (value) REQUIRE(std::isfinite(*value));
      }
      if (info.location) {
        REQUIRE(std::abs(info.location->latitude_deg) <= 90);
        REQUIRE(std::abs(info.location->longitude_deg) <= 180);
      }
      const int orientation = exif_orientation(block);
      REQUIRE(orientation >= 1);
      REQUIRE(orientation <= 8);
      told += info.exposure_s || info.body_make ? 1 : 0;
    }
  }
  CHECK(told > runs / 10);
  CHECK(told < runs);
}

}  // namespace
}  // namespace seamwright
