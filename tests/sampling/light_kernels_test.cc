#include "sampling/light_kernels.h"

#include <cmath>
#include <cstring>
#include <functional>
#include <memory>

#include <catch2/catch.hpp>

#include "sampling/lens_shader.h"
#include "tests/support/instruction_sets.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

Image noise(Random& random, int width, int height, Channels channels, SampleType type) {
  Image image(width, height, channels, type);
  for (int y = 0; y < height; ++y) {
    const int samples = width * image.channel_count();
    for (int i = 0; i < samples; ++i) {
      const auto at = static_cast<std::size_t>(i);
      const double value = random.uniform(0, 1);
      if (type == SampleType::u8) {
        image.row<std::uint8_t>(y)[at] = static_cast<std::uint8_t>(255 * value);
      } else if (type == SampleType::u16) {
        image.row<std::uint16_t>(y)[at] = static_cast<std::uint16_t>(65535 * value);
      } else {
        image.row<float>(y)[at] = static_cast<float>(2 * value);
      }
    }
  }
  return image;
}

// A lens with fringes of some pixels and vignetting, filling a frame of 90 px.
MountedLens coloured_lens(Random& random) {
  MountedLens mounted = test::random_rig(random, {}).lenses[0];
  mounted.lens = mounted.lens.scaled_to(90, 90);
  mounted.lens.red = {0.02, 0.01, -0.005};
  mounted.lens.blue = {-0.015, 0.002, 0.003};
  mounted.lens.vignetting = {-0.2, 0.05, -0.1};
  return mounted;
}

// Positions all over the frame and beyond its border.
void place_all_over(Random& random, SourceRun& run, std::size_t count) {
  run.anchor_x = 40;
  run.anchor_y = 45;
  run.count = count;
  for (std::size_t i = 0; i < count; ++i) {
    run.set(i, {random.uniform(-3, 93), random.uniform(-3, 93)});
  }
}

using Bytes = std::vector<std::uint16_t>;

struct Everything {
  RunColours light{};
  Bytes codes;

  bool operator==(const Everything& other) const {
    return std::memcmp(&light, &other.light, sizeof light) == 0 && codes == other.codes;
  }
};

// Runs all kernels over the same positions with the best of the instruction sets in `targets`.
template <class Targets>
Everything everything_with(Targets targets, const LensShader& shader, const SourceRun& run,
                           const ToneRun& tone, const TransferCurve& transfer) {
  const test::OnlyTargets only(targets);
  auto all = std::make_unique<Everything>();
  shader.light(run, tone, all->light);
  for (RunPlane& plane : all->light) std::fill(plane.begin() + run.count, plane.end(), 0.0F);
  const int colours = shader.colours();
  all->codes.resize(run.count * static_cast<std::size_t>(colours));
  encode_run(all->light, 0, run.count, colours,
             {transfer.table(0), transfer.table(1), transfer.table(2)}, all->codes.data());
  return *all;
}

}  // namespace

TEST_CASE("Every instruction set gives the same bits, plain C++ among them") {
  CAPTURE(test::seed());
  Random random(31);
  const MountedLens mounted = coloured_lens(random);
  const LensMap map(mounted);
  auto run = std::make_unique<SourceRun>();
  place_all_over(random, *run, 777);
  auto tone = std::make_unique<RunTones>();
  for (std::size_t i = 0; i < tone->gain.size(); ++i) {
    tone->gain[i] = static_cast<float>(random.uniform(0.8, 1.2));
    tone->add[i] = static_cast<float>(random.uniform(-0.05, 0.05));
  }
  int compared = 0;
  for (const auto type : {SampleType::u8, SampleType::u16, SampleType::f32}) {
    for (const auto channels : {Channels::grey, Channels::rgb, Channels::rgba}) {
      const Image image = noise(random, 90, 90, channels, type);
      const auto transfer = TransferCurve::of(image);
      REQUIRE(transfer);
      for (const auto kind : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
        for (const double stretch : {1.0, 2.3}) {
          const KernelWeights kernel(kind, stretch);
          const PictureSampler sampler(image, kernel);
          const LensShader shader(map, sampler, *transfer, {0.9, 1.1, 1.3},
                                  type != SampleType::f32);
          const auto tones = [&](auto targets) {
            return everything_with(targets, shader, *run, tone->run(), *transfer);
          };
          const Everything plain = tones(HWY_EMU128);
          for (const auto target : {HWY_SSSE3, HWY_SSE4, HWY_AVX2, HWY_AVX3}) {
            if ((hwy::SupportedTargets() & target) == 0) continue;
            CHECK(tones(target | HWY_EMU128) == plain);
            ++compared;
          }
        }
      }
    }
  }
  WARN(compared << " comparisons");
#if HWY_ARCH_X86
  CHECK(compared >= 36);  // every x86-64 processor has at least one of them
#endif
}

TEST_CASE("A run of positions gets the light that single positions get") {
  CAPTURE(test::seed());
  Random random(32);
  const MountedLens mounted = coloured_lens(random);
  const LensMap map(mounted);
  auto run = std::make_unique<SourceRun>();
  place_all_over(random, *run, 1000);
  auto light = std::make_unique<RunColours>();
  int compared = 0;
  for (const auto type : {SampleType::u8, SampleType::u16, SampleType::f32}) {
    for (const auto channels : {Channels::grey, Channels::rgb, Channels::rgba}) {
      const Image image = noise(random, 90, 90, channels, type);
      const auto transfer = TransferCurve::of(image);
      for (const auto kind : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
        const KernelWeights kernel(kind);
        const PictureSampler sampler(image, kernel);
        const LensShader shader(map, sampler, *transfer, {0.9, 1.1, 1.3}, type != SampleType::f32);
        shader.light(*run, {}, *light);
        for (std::size_t i = 0; i < run->count; ++i) {
          const auto single = shader.light(run->at(i));
          for (std::size_t c = 0; c < static_cast<std::size_t>(shader.colours()); ++c) {
            // Single floats, and weights by formula instead of from a table.
            const double close = 4e-6 + 2e-5 * std::abs(static_cast<double>(single[c]));
            if (std::abs((*light)[c][i] - single[c]) > close) {
              CAPTURE(i, c, run->at(i).transpose(), (*light)[c][i], single[c]);
              FAIL_CHECK("too far apart");
            }
            ++compared;
          }
        }
      }
    }
  }
  CHECK(compared == 3 * (1 + 3 + 3) * 2 * 1000);
}

TEST_CASE("A run's tones are those of single positions") {
  CAPTURE(test::seed());
  Random random(34);
  const MountedLens mounted = coloured_lens(random);
  const LensMap map(mounted);
  auto run = std::make_unique<SourceRun>();
  place_all_over(random, *run, 500);
  auto tones = std::make_unique<RunTones>();
  for (std::size_t i = 0; i < tones->gain.size(); ++i) {
    tones->gain[i] = static_cast<float>(random.uniform(0.8, 1.2));
    tones->add[i] = static_cast<float>(random.uniform(-0.05, 0.05));
  }
  const Image image = noise(random, 90, 90, Channels::rgb, SampleType::u16);
  const auto transfer = TransferCurve::of(image);
  const KernelWeights kernel(ResampleKernel::catmull_rom);
  const PictureSampler sampler(image, kernel);
  const LensShader shader(map, sampler, *transfer, {0.9, 1.1, 1.3}, true);
  auto light = std::make_unique<RunColours>();
  shader.light(*run, tones->run(), *light);
  int compared = 0;
  for (std::size_t i = 0; i < run->count; ++i) {
    LensTone tone;
    for (std::size_t c = 0; c < 3; ++c) {
      tone.gain[c] = tones->gain[RunTones::kFloats * i + c];
      tone.add[c] = tones->add[RunTones::kFloats * i + c];
    }
    const auto single = shader.light(run->at(i), tone);
    for (std::size_t c = 0; c < 3; ++c) {
      // As without tones, times the largest gain; what is added may hide larger light.
      const double close = 4e-6 + 2.4e-5 * (std::abs(static_cast<double>(single[c])) + 0.05);
      if (std::abs((*light)[c][i] - single[c]) > close) {
        CAPTURE(i, c, (*light)[c][i], single[c]);
        FAIL_CHECK("too far apart");
      }
      ++compared;
    }
  }
  CHECK(compared == 1500);
}

TEST_CASE("Encoding in runs is encoding one by one, black and beyond white included") {
  CAPTURE(test::seed());
  Random random(33);
  const TransferCurve transfer = TransferCurve::srgb();
  auto light = std::make_unique<RunColours>();
  constexpr std::size_t kCount = 1001;
  for (std::size_t i = 0; i < kCount; ++i) {
    for (std::size_t c = 0; c < 3; ++c) {
      (*light)[c][i] = static_cast<float>(std::pow(2.0, random.uniform(-60, 6)));
    }
  }
  const float special[] = {0, -0.0F, -1, 1, 1e30F, INFINITY, NAN, 0.0031308F, 1e-40F};
  for (std::size_t i = 0; i < std::size(special); ++i) (*light)[1][100 + i] = special[i];
  Bytes codes(3 * kCount);
  encode_run(*light, 0, kCount, 3, {transfer.table(0), transfer.table(1), transfer.table(2)},
             codes.data());
  for (std::size_t i = 0; i < kCount; ++i) {
    for (std::size_t c = 0; c < 3; ++c) {
      std::uint16_t one = 0;
      const float value = (*light)[c][i];
      transfer.encode_row<std::uint16_t>({&value, 1}, Channels::grey, {&one, 1});
      CHECK(std::abs(int{codes[3 * i + c]} - int{one}) <= (std::isnan(value) ? 0 : 1));
    }
  }
  CHECK(codes[3 * 103 + 1] == 65535);  // light 1
  CHECK(codes[3 * 100 + 1] == 0);
}
