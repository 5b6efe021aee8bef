#include <algorithm>
#include <cmath>
#include <limits>

#include "sampling/light_kernels.h"

// Highway compiles what follows once for each instruction set. Its portable four-lane target is
// left out for GCC before 12.3, in favour of one lane, which has no room for three colours; the
// tests hold it against the others here.
#define HWY_BROKEN_EMU128 0
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "sampling/sample_kernels.cc"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

#include "sampling/sample_windows.h"

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

// Lanes are neighbouring positions, everywhere but where samples are weighed.
using Many = hn::CappedTag<float, kRunSlack>;
using ManyInts = hn::RebindToSigned<Many>;
using FN = hn::Vec<Many>;

// Weights of the four cubic taps (base/catmull_rom.h) at distance t past the second one,
// ((a t + b) t + c) t + d: lanes are colours, four of each tap.
HWY_INLINE F16 cubic_weights(const float* t) {
  const auto of_taps = [](float first, float second, float third, float fourth) {
    const Four d;
    return row_of(pair_of(hn::Set(d, first), hn::Set(d, second)),
                  pair_of(hn::Set(d, third), hn::Set(d, fourth)));
  };
  const F16 at = four_times(t);
  F16 sum = add(multiply(of_taps(-0.5F, 1.5F, -1.5F, 0.5F), at), of_taps(1, -2.5F, 2, -0.5F));
  sum = add(multiply(sum, at), of_taps(-0.5F, 0, 0.5F, 0));
  return add(multiply(sum, at), of_taps(0, 1, 0, 0));
}

class CubicTaps {
 public:
  // Distances of each colour, `room` for kRoom floats, all aligned.
  HWY_INLINE CubicTaps(const float* right, const float* below, float* room)
      : across_(cubic_weights(right)), down_(room) {
    store_row(cubic_weights(below), room);
  }
  [[nodiscard]] HWY_INLINE F16 across() const { return across_; }
  [[nodiscard]] HWY_INLINE F16 row(int j) const { return four_times(down_ + 4 * j); }

  static constexpr std::size_t kRoom = 16;

 private:
  F16 across_;
  const float* down_;
};

// The same of any kernel, from its table.
class TableTaps {
 public:
  HWY_INLINE TableTaps(const KernelWeights& kernel, bool apart, const float* right,
                       const float* below, float* room)
      : pairs_(kernel.taps() / 2), across_(room), down_(room + 4 * KernelWeights::kMaxTaps) {
    look_up(kernel, right, apart, across_);
    look_up(kernel, below, apart, down_);
  }
  [[nodiscard]] HWY_INLINE int pairs() const { return pairs_; }
  [[nodiscard]] HWY_INLINE F8 pair(int i) const {
    return pair_of(hn::Load(Four(), across_ + 8 * i), hn::Load(Four(), across_ + 8 * i + 4));
  }
  [[nodiscard]] HWY_INLINE F8 row(int j) const { return both(hn::Load(Four(), down_ + 4 * j)); }

  static constexpr std::size_t kRoom = std::size_t{8} * KernelWeights::kMaxTaps;

 private:
  static HWY_INLINE void look_up(const KernelWeights& kernel, const float* fraction, bool apart,
                                 float* weights) {
    std::array<float, KernelWeights::kMaxTaps> of_one;
    for (std::size_t c = 0; c < 4; ++c) {
      if (c == 0 || (apart && c < 3)) kernel.at(static_cast<double>(fraction[c]), of_one.data());
      for (std::size_t i = 0; i < static_cast<std::size_t>(kernel.taps()); ++i) {
        weights[4 * i + c] = of_one[i];
      }
    }
  }

  int pairs_;
  float* across_;
  float* down_;
};

// The separable sum, held within the range of its samples.
template <class Taps, class Window>
HWY_INLINE F4 weigh(const Taps& taps, const Window& window) {
  F8 sum = eight(0);
  F8 low = eight(std::numeric_limits<float>::max());
  F8 high = eight(std::numeric_limits<float>::lowest());
  for (int j = 0; j < 2 * taps.pairs(); ++j) {
    F8 line = eight(0);
    for (int i = 0; i < taps.pairs(); ++i) {
      const F8 value = window(j, 2 * i);
      const F8 weighted = multiply(taps.pair(i), value);
      line = i == 0 ? weighted : add(line, weighted);
      low = lesser(low, value);
      high = greater(high, value);
    }
    sum = add(sum, multiply(taps.row(j), line));
  }
  const F4 all = hn::Add(left_of(sum), right_of(sum));
  const F4 least = hn::Min(left_of(low), right_of(low));
  const F4 most = hn::Max(left_of(high), right_of(high));
  return hn::Min(hn::Max(all, least), most);
}

// The same of four taps: down the columns first, so that a row is one vector where there are such.
template <class Window>
HWY_INLINE F4 weigh(const CubicTaps& taps, const Window& window) {
  F16 low = window.four(0);
  F16 high = low;
  F16 sum = multiply(taps.row(0), low);
  for (int j = 1; j < 4; ++j) {
    const F16 value = window.four(j);
    sum = add(sum, multiply(taps.row(j), value));
    low = lesser(low, value);
    high = greater(high, value);
  }
  sum = multiply(sum, taps.across());
  const F8 half = add(left_of(sum), right_of(sum));
  const F8 least = lesser(left_of(low), right_of(low));
  const F8 most = greater(left_of(high), right_of(high));
  const F4 all = hn::Add(left_of(half), right_of(half));
  return hn::Min(hn::Max(all, hn::Min(left_of(least), right_of(least))),
                 hn::Max(left_of(most), right_of(most)));
}

// Where some positions are read: four numbers each, of red, green, blue and green.
struct Places {
  static constexpr std::size_t kMost = 64;
  static constexpr std::size_t kRoom = 4 * (kMost + kRunSlack);

  alignas(64) std::array<float, kRoom> right;  // past the last tap before the position
  alignas(64) std::array<float, kRoom> below;
  alignas(64) std::array<std::int32_t, kRoom> column;  // of the first tap
  alignas(64) std::array<std::int32_t, kRoom> row;
  alignas(64) std::array<std::int32_t, kRoom> sample;  // of the first tap, counted from the first
  alignas(64) std::array<std::int32_t, kMost + kRunSlack> kind;  // one a position
};
enum Kind : std::int32_t { kTogether, kApart, kBeyond };

// Finds them, many positions at a time.
class Locator {
 public:
  Locator(const PictureSampler::Raster& raster, const KernelWeights& kernel, const LensPixels& lens,
          const SourceRun& run)
      : lens_(lens),
        run_(run),
        channels_(raster.channels),
        pitch_(raster.width * raster.channels),
        first_column_(run.anchor_x - kernel.taps() / 2 + 1),
        first_row_(run.anchor_y - kernel.taps() / 2 + 1) {
    // More is loaded than six samples for two taps: places from two pixels before the border on
    // count as outside. So do all of a raster whose samples 32 bits cannot count.
    const std::int64_t samples =
        static_cast<std::int64_t>(raster.width) * raster.height * raster.channels;
    const bool plain = raster.channels >= 3 && samples < std::numeric_limits<std::int32_t>::max();
    most_column_ = plain ? raster.width - kernel.taps() - kTouched / 3 : -1;
    most_row_ = plain ? raster.height - kernel.taps() : -1;
  }

  // From the position `from` on, as many as there is room for.
  HWY_INLINE void locate(std::size_t from, Places& places) const {
    const std::size_t end = std::min(Places::kMost, run_.count - from);
    for (std::size_t i = 0; i < end; i += hn::Lanes(Many())) {
      const Colour green = placed(from + i, nullptr);
      Colour red = green;
      Colour blue = green;
      if (lens_.fringes) {
        red = placed(from + i, &lens_.fringe[0][0]);
        blue = placed(from + i, &lens_.fringe[0][2]);
      }
      store(red, green, blue, i, places);
    }
  }

 private:
  using IN = hn::Vec<ManyInts>;
  struct Colour {
    FN right, below;
    IN column, row, sample;
  };

  // `fringe` is the first of a colour's three terms in the table of LensPixels; none for green.
  HWY_INLINE Colour placed(std::size_t i, const float* fringe) const {
    const Many d;
    const ManyInts ints;
    const FN from_x = hn::LoadU(d, run_.x.data() + i);
    const FN from_y = hn::LoadU(d, run_.y.data() + i);
    const FN half = hn::Set(d, 0.5F);
    FN x = hn::Sub(from_x, half);
    FN y = hn::Sub(from_y, half);
    if (fringe != nullptr) {
      constexpr std::size_t kNext = 4;  // a row of the table
      const FN cx = hn::Add(from_x, hn::Set(d, static_cast<float>(run_.anchor_x) - lens_.centre_x));
      const FN cy = hn::Add(from_y, hn::Set(d, static_cast<float>(run_.anchor_y) - lens_.centre_y));
      const FN q =
          hn::Mul(hn::Add(hn::Mul(cx, cx), hn::Mul(cy, cy)), hn::Set(d, lens_.inverse_rim_square));
      FN off = hn::Add(hn::Set(d, fringe[kNext]), hn::Mul(q, hn::Set(d, fringe[2 * kNext])));
      off = hn::Add(hn::Set(d, fringe[0]), hn::Mul(q, off));
      x = hn::Add(x, hn::Mul(off, cx));
      y = hn::Add(y, hn::Mul(off, cy));
    }
    const FN whole_x = hn::Floor(x);
    const FN whole_y = hn::Floor(y);
    Colour colour{hn::Sub(x, whole_x), hn::Sub(y, whole_y),
                  hn::Add(hn::ConvertTo(ints, whole_x), hn::Set(ints, first_column_)),
                  hn::Add(hn::ConvertTo(ints, whole_y), hn::Set(ints, first_row_)), hn::Zero(ints)};
    colour.sample = hn::Add(hn::Mul(colour.row, hn::Set(ints, pitch_)),
                            hn::Mul(colour.column, hn::Set(ints, channels_)));
    return colour;
  }

  // Negative where a colour's taps are not all inside.
  HWY_INLINE IN beyond(const Colour& colour) const {
    const ManyInts ints;
    return hn::Or(hn::Or(colour.column, colour.row),
                  hn::Or(hn::Sub(hn::Set(ints, most_column_), colour.column),
                         hn::Sub(hn::Set(ints, most_row_), colour.row)));
  }

  HWY_INLINE void store(const Colour& red, const Colour& green, const Colour& blue, std::size_t i,
                        Places& places) const {
    const Many d;
    const ManyInts ints;
    hn::StoreInterleaved4(red.right, green.right, blue.right, green.right, d,
                          places.right.data() + 4 * i);
    hn::StoreInterleaved4(red.below, green.below, blue.below, green.below, d,
                          places.below.data() + 4 * i);
    hn::StoreInterleaved4(red.column, green.column, blue.column, green.column, ints,
                          places.column.data() + 4 * i);
    hn::StoreInterleaved4(red.row, green.row, blue.row, green.row, ints, places.row.data() + 4 * i);
    hn::StoreInterleaved4(red.sample, green.sample, blue.sample, green.sample, ints,
                          places.sample.data() + 4 * i);
    const auto together =
        hn::And(hn::Eq(red.sample, green.sample), hn::Eq(blue.sample, green.sample));
    const auto outside =
        hn::Lt(hn::Or(beyond(green), hn::Or(beyond(red), beyond(blue))), hn::Zero(ints));
    const IN kind = hn::IfThenElse(together, hn::Set(ints, kTogether), hn::Set(ints, kApart));
    hn::Store(hn::IfThenElse(outside, hn::Set(ints, kBeyond), kind), ints, places.kind.data() + i);
  }

  const LensPixels& lens_;
  const SourceRun& run_;
  std::int32_t channels_;
  std::int32_t pitch_;
  std::int32_t first_column_;
  std::int32_t first_row_;
  std::int32_t most_column_;
  std::int32_t most_row_;
};

// Weighs what lies at a place.
template <class T, bool kRgb, class Taps>
HWY_INLINE F4 read(const PictureSampler::Raster& raster, const Taps& taps, const Places& places,
                   std::size_t i) {
  const T* samples = reinterpret_cast<const T*>(raster.samples);
  const std::ptrdiff_t pitch = static_cast<std::ptrdiff_t>(raster.width) * raster.channels;
  const std::int32_t* at = places.sample.data() + 4 * i;
  switch (places.kind[i]) {
    case kTogether:
      return weigh(taps, Together<T, kRgb>{samples + at[0], raster.channels, pitch});
    case kApart:
      return weigh(
          taps, Apart<T, kRgb>{
                    {samples + at[0], samples + at[1], samples + at[2]}, raster.channels, pitch});
    default:
      return weigh(taps, Held<T>{samples, places.column.data() + 4 * i, places.row.data() + 4 * i,
                                 raster.width, raster.height, raster.channels});
  }
}

// First where, then what: places are found many at a time, and reading waits for none of them.
template <class T, bool kCubic, bool kRgb>
void sample_positions(const PictureSampler::Raster& raster, const KernelWeights& kernel,
                      const LensPixels& lens, const SourceRun& run, float* codes) {
  const Locator locator(raster, kernel, lens, run);
  Places places;
  alignas(64) std::array<float, kCubic ? CubicTaps::kRoom : TableTaps::kRoom> room;
  for (std::size_t from = 0; from < run.count; from += Places::kMost) {
    locator.locate(from, places);
    const std::size_t end = std::min(Places::kMost, run.count - from);
    for (std::size_t i = 0; i < end; ++i) {
      const float* right = places.right.data() + 4 * i;
      const float* below = places.below.data() + 4 * i;
      float* out = codes + 4 * (from + i);
      if constexpr (kCubic) {
        const CubicTaps taps(right, below, room.data());
        hn::StoreU(read<T, kRgb>(raster, taps, places, i), Four(), out);
      } else {
        const TableTaps taps(kernel, lens.fringes, right, below, room.data());
        hn::StoreU(read<T, kRgb>(raster, taps, places, i), Four(), out);
      }
    }
  }
}

template <class T, bool kRgb>
void sample_as(const PictureSampler::Raster& raster, const KernelWeights& kernel,
               const LensPixels& lens, const SourceRun& run, float* codes) {
  if (kernel.is_catmull_rom()) {
    return sample_positions<T, true, kRgb>(raster, kernel, lens, run, codes);
  }
  sample_positions<T, false, kRgb>(raster, kernel, lens, run, codes);
}

void sample(const PictureSampler::Raster& raster, const KernelWeights& kernel,
            const LensPixels& lens, const SourceRun& run, float* codes) {
  switch (raster.type) {
    case SampleType::u8:
      return sample_as<std::uint8_t, false>(raster, kernel, lens, run, codes);
    case SampleType::u16:
      if (raster.channels == 3) {
        return sample_as<std::uint16_t, true>(raster, kernel, lens, run, codes);
      }
      return sample_as<std::uint16_t, false>(raster, kernel, lens, run, codes);
    case SampleType::f32:
      return sample_as<float, false>(raster, kernel, lens, run, codes);
  }
}

}  // namespace
}  // namespace HWY_NAMESPACE
}  // namespace seamwright
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace seamwright {

HWY_EXPORT(sample);

void sample_run(const PictureSampler::Raster& raster, const KernelWeights& kernel,
                const LensPixels& lens, const SourceRun& run, float* codes) {
  HWY_DYNAMIC_DISPATCH(sample)(raster, kernel, lens, run, codes);
}

}  // namespace seamwright
#endif
