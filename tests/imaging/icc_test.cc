#include "imaging/icc.h"

#include <catch2/catch.hpp>
#include <exiv2/exiv2.hpp>

#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/imaging/profiles.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::ScratchDir;

constexpr const char* kSuffixes[] = {".tif", ".png", ".jpg"};

// Outside check: Exiv2 finds the profile in JPEG and PNG.
std::vector<std::byte> profile_found_by_exiv2(const std::filesystem::path& path) {
  const auto image = Exiv2::ImageFactory::open(path.string());
  image->readMetadata();
  if (!image->iccProfileDefined()) return {};
  const Exiv2::DataBuf& data = *image->iccProfile();
  return test::bytes_of(
      {reinterpret_cast<const char*>(data.pData_), static_cast<std::size_t>(data.size_)});
}

TEST_CASE("profiles are carried byte for byte", "[imaging][icc]") {
  CAPTURE(test::seed());
  Random random(41);
  const ScratchDir dir;
  for (const Channels channels : {Channels::grey, Channels::rgb}) {
    Image image = test::random_image(random, 20, 10, channels, SampleType::u8);
    image.icc_profile =
        channels == Channels::grey ? test::grey_gamma_profile(2.2) : test::gamma_profile(2.2);
    for (const char* suffix : kSuffixes) {
      CAPTURE(suffix);
      const auto path = dir / (std::string("profile") + suffix);
      REQUIRE(write_image(path, image));
      const auto back = read_image(path);
      REQUIRE(back);
      CHECK(back->icc_profile == image.icc_profile);
      const auto header = read_image_header(path);
      REQUIRE(header);
      CHECK(header->icc_bytes == image.icc_profile.size());
      if (std::string(suffix) != ".tif") {
        CHECK(profile_found_by_exiv2(path) == image.icc_profile);
      }
    }
  }
}

TEST_CASE("a profile of several JPEG segments is carried whole", "[imaging][icc]") {
  const ScratchDir dir;
  Image image = test::smooth_image(16, 16, Channels::rgb);
  image.icc_profile = test::gamma_profile(2.2);
  for (int i = 0; i < 200'000; ++i) {  // padding after the tags, as some profiles have
    image.icc_profile.push_back(static_cast<std::byte>(i % 251));
  }
  REQUIRE(write_image(dir / "long.jpg", image));
  const auto back = read_image(dir / "long.jpg");
  REQUIRE(back);
  CHECK(back->icc_profile == image.icc_profile);
}

TEST_CASE("a profile that a PNG cannot hold is an error, not a loss", "[imaging][icc]") {
  const ScratchDir dir;
  Image image = test::smooth_image(16, 16, Channels::rgb);
  image.icc_profile = test::grey_gamma_profile(2.2);
  const auto written = write_image(dir / "wrong.png", image);
  REQUIRE_FALSE(written);
  CHECK(dir.entry_count() == 0);
}

TEST_CASE("the description of a profile", "[imaging][icc]") {
  const std::unique_ptr<void, void (*)(void*)> profile(cmsCreate_sRGBProfile(),
                                                       [](void* p) { cmsCloseProfile(p); });
  CHECK(test::contains(icc_description(test::saved_profile(cmsCreate_sRGBProfile())), "sRGB"));
  CHECK(icc_description(test::bytes_of("nonsense")).empty());
  CHECK(icc_description({}).empty());
}

TEST_CASE("code values keep their meaning through every file", "[imaging][icc]") {
  CAPTURE(test::seed());
  Random random(42);
  const ScratchDir dir;
  int cases = 0;
  for (const SampleType type : test::kAllTypes) {
    for (const Channels channels : {Channels::grey, Channels::rgb}) {
      for (const Transfer transfer : {Transfer::srgb, Transfer::linear}) {
        for (const char* suffix : kSuffixes) {
          if (type == SampleType::f32 && std::string(suffix) == ".png") continue;
          CAPTURE(static_cast<int>(type), static_cast<int>(channels), static_cast<int>(transfer),
                  suffix);
          Image image = test::random_image(random, 8, 8, channels, type);
          image.transfer = transfer;
          const auto path = dir / (std::string("meaning") + suffix);
          REQUIRE(write_image(path, image));
          const auto back = read_image(path);
          REQUIRE(back);
          const auto curve = TransferCurve::of(*back);
          REQUIRE(curve);
          const double expected = transfer == Transfer::linear ? 0.5 : srgb_to_linear(0.5);
          CHECK(curve->to_linear(0.5F, 0) == Approx(expected).epsilon(2e-5));
          ++cases;
        }
      }
    }
  }
  CHECK(cases == 3 * 2 * 2 * 3 - 4);
}

// Outside check: lcms2 takes our sRGB profile for its own, to an 8-bit step.
TEST_CASE("our sRGB profile is sRGB", "[imaging][icc]") {
  const auto bytes = make_icc_profile(Channels::rgb, Transfer::srgb);
  const std::unique_ptr<void, void (*)(void*)> ours(
      cmsOpenProfileFromMem(bytes.data(), static_cast<cmsUInt32Number>(bytes.size())),
      [](void* p) { cmsCloseProfile(p); });
  const std::unique_ptr<void, void (*)(void*)> theirs(cmsCreate_sRGBProfile(),
                                                      [](void* p) { cmsCloseProfile(p); });
  REQUIRE(ours);
  const std::unique_ptr<void, void (*)(void*)> transform(
      cmsCreateTransform(ours.get(), TYPE_RGB_16, theirs.get(), TYPE_RGB_16,
                         INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE),
      [](void* t) { cmsDeleteTransform(t); });
  REQUIRE(transform);
  CAPTURE(test::seed());
  Random random(43);
  int worst = 0;
  for (int i = 0; i < 500; ++i) {
    std::uint16_t in[3];
    std::uint16_t out[3];
    for (auto& sample : in) sample = static_cast<std::uint16_t>(random.bits());
    cmsDoTransform(transform.get(), in, out, 1);
    for (int c = 0; c < 3; ++c) worst = std::max(worst, std::abs(in[c] - out[c]));
  }
  CHECK(worst <= 257);
}

}  // namespace
}  // namespace seamwright
