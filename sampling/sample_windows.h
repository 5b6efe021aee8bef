// What sampling reads and how wide its lanes are, once for each instruction set: a part of
// sample_kernels.cc.

#include <array>
#include <cstddef>
#include <cstdint>
#include <type_traits>

#include <hwy/highway.h>

#if defined(SEAMWRIGHT_SAMPLE_WINDOWS) == defined(HWY_TARGET_TOGGLE)
#ifdef SEAMWRIGHT_SAMPLE_WINDOWS
#undef SEAMWRIGHT_SAMPLE_WINDOWS
#else
#define SEAMWRIGHT_SAMPLE_WINDOWS
#endif

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;

// Lanes are red, green, blue and nothing of one tap, and of the tap right of it.
using Four = hn::FixedTag<float, 4>;
using FourInts = hn::FixedTag<std::int32_t, 4>;
using F4 = hn::Vec<Four>;
using I4 = hn::Vec<FourInts>;

// Eight lanes: one vector where the machine has such, else two. Either way the same sums.
#if HWY_MAX_BYTES >= 32
using Eight = hn::FixedTag<float, 8>;
using F8 = hn::Vec<Eight>;
HWY_INLINE F8 both(F4 value) { return hn::Combine(Eight(), value, value); }
HWY_INLINE F8 pair_of(F4 left, F4 right) { return hn::Combine(Eight(), right, left); }
HWY_INLINE F4 left_of(F8 pair) { return hn::LowerHalf(Four(), pair); }
HWY_INLINE F4 right_of(F8 pair) { return hn::UpperHalf(Four(), pair); }
HWY_INLINE F8 add(F8 a, F8 b) { return hn::Add(a, b); }
HWY_INLINE F8 multiply(F8 a, F8 b) { return hn::Mul(a, b); }
HWY_INLINE F8 lesser(F8 a, F8 b) { return hn::Min(a, b); }
HWY_INLINE F8 greater(F8 a, F8 b) { return hn::Max(a, b); }
#else
struct F8 {
  F4 left, right;
};
HWY_INLINE F8 both(F4 value) { return {value, value}; }
HWY_INLINE F8 pair_of(F4 left, F4 right) { return {left, right}; }
HWY_INLINE F4 left_of(F8 pair) { return pair.left; }
HWY_INLINE F4 right_of(F8 pair) { return pair.right; }
HWY_INLINE F8 add(F8 a, F8 b) { return {hn::Add(a.left, b.left), hn::Add(a.right, b.right)}; }
HWY_INLINE F8 multiply(F8 a, F8 b) { return {hn::Mul(a.left, b.left), hn::Mul(a.right, b.right)}; }
HWY_INLINE F8 lesser(F8 a, F8 b) { return {hn::Min(a.left, b.left), hn::Min(a.right, b.right)}; }
HWY_INLINE F8 greater(F8 a, F8 b) { return {hn::Max(a.left, b.left), hn::Max(a.right, b.right)}; }
#endif
HWY_INLINE F8 eight(float value) { return both(hn::Set(Four(), value)); }

// Sixteen lanes, a row of four taps: one vector or two pairs, and again the same sums.
#if HWY_MAX_BYTES >= 64
using Sixteen = hn::FixedTag<float, 16>;
using F16 = hn::Vec<Sixteen>;
HWY_INLINE F16 row_of(F8 left, F8 right) { return hn::Combine(Sixteen(), right, left); }
HWY_INLINE F8 left_of(F16 row) { return hn::LowerHalf(Eight(), row); }
HWY_INLINE F8 right_of(F16 row) { return hn::UpperHalf(Eight(), row); }
HWY_INLINE F16 add(F16 a, F16 b) { return hn::Add(a, b); }
HWY_INLINE F16 multiply(F16 a, F16 b) { return hn::Mul(a, b); }
HWY_INLINE F16 lesser(F16 a, F16 b) { return hn::Min(a, b); }
HWY_INLINE F16 greater(F16 a, F16 b) { return hn::Max(a, b); }
HWY_INLINE void store_row(F16 row, float* aligned) { hn::Store(row, Sixteen(), aligned); }
HWY_INLINE F16 four_times(const float* four) { return hn::LoadDup128(Sixteen(), four); }
#else
struct F16 {
  F8 left, right;
};
HWY_INLINE F16 row_of(F8 left, F8 right) { return {left, right}; }
HWY_INLINE F8 left_of(F16 row) { return row.left; }
HWY_INLINE F8 right_of(F16 row) { return row.right; }
HWY_INLINE F16 add(F16 a, F16 b) { return {add(a.left, b.left), add(a.right, b.right)}; }
HWY_INLINE F16 multiply(F16 a, F16 b) {
  return {multiply(a.left, b.left), multiply(a.right, b.right)};
}
HWY_INLINE F16 lesser(F16 a, F16 b) { return {lesser(a.left, b.left), lesser(a.right, b.right)}; }
HWY_INLINE F16 greater(F16 a, F16 b) {
  return {greater(a.left, b.left), greater(a.right, b.right)};
}
HWY_INLINE void store_row(F16 row, float* aligned) {
  hn::Store(left_of(row.left), Four(), aligned);
  hn::Store(right_of(row.left), Four(), aligned + 4);
  hn::Store(left_of(row.right), Four(), aligned + 8);
  hn::Store(right_of(row.right), Four(), aligned + 12);
}
HWY_INLINE F16 four_times(const float* four) {
  const F8 pair = both(hn::Load(Four(), four));
  return {pair, pair};
}
#endif

// From an RGB pixel on: where the first six of eight samples go that make two taps.
alignas(16) constexpr std::array<std::uint8_t, 16> kTwoTaps{0, 1, 2, 3, 4,  5,  0x80, 0x80,
                                                            6, 7, 8, 9, 10, 11, 0x80, 0x80};
using EightWords = hn::FixedTag<std::uint16_t, 8>;
using W8 = hn::Vec<EightWords>;

HWY_INLINE F8 spread(W8 samples) {
  const hn::FixedTag<std::uint8_t, 16> bytes;
  const auto apart = hn::BitCast(
      EightWords(),
      hn::TableLookupBytesOr0(hn::BitCast(bytes, samples), hn::Load(bytes, kTwoTaps.data())));
#if HWY_MAX_BYTES >= 32
  return hn::ConvertTo(Eight(), hn::PromoteTo(hn::FixedTag<std::int32_t, 8>(), apart));
#else
  const auto left = hn::LowerHalf(hn::FixedTag<std::uint16_t, 4>(), apart);
  const auto right = hn::UpperHalf(hn::FixedTag<std::uint16_t, 4>(), apart);
  return {hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), left)),
          hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), right))};
#endif
}
// The same of a row.
HWY_INLINE F16 spread(W8 left, W8 right) {
#if HWY_MAX_BYTES >= 64
  const hn::FixedTag<std::uint16_t, 16> words;
  const hn::FixedTag<std::uint8_t, 32> bytes;
  const auto apart = hn::TableLookupBytesOr0(hn::BitCast(bytes, hn::Combine(words, right, left)),
                                             hn::LoadDup128(bytes, kTwoTaps.data()));
  return hn::ConvertTo(Sixteen(),
                       hn::PromoteTo(hn::FixedTag<std::int32_t, 16>(), hn::BitCast(words, apart)));
#else
  return {spread(left), spread(right)};
#endif
}
template <class T>
HWY_INLINE F4 one_tap(const T* samples) {
  const auto four = hn::LoadU(hn::Rebind<T, Four>(), samples);
  if constexpr (std::is_same_v<T, float>) {
    return four;
  } else {
    return hn::ConvertTo(Four(), hn::PromoteTo(FourInts(), four));
  }
}

// Samples that `two_taps` may touch from a tap on.
constexpr int kTouched = 8;

// All colours from the same pixels. `kRgb`: three colours of 16 bits.
template <class T, bool kRgb>
struct Together {
  const T* corner;
  std::ptrdiff_t pixel;
  std::ptrdiff_t pitch;

  HWY_INLINE F8 operator()(std::ptrdiff_t row, std::ptrdiff_t column) const {
    if constexpr (kRgb) return spread(words(row, column));
    const T* at = corner + row * pitch + column * pixel;
    return pair_of(one_tap(at), one_tap(at + pixel));
  }
  HWY_INLINE F16 four(std::ptrdiff_t row) const {
    if constexpr (kRgb) return spread(words(row, 0), words(row, 2));
    return row_of((*this)(row, 0), (*this)(row, 2));
  }

 private:
  HWY_INLINE W8 words(std::ptrdiff_t row, std::ptrdiff_t column) const {
    return hn::LoadU(EightWords(), corner + row * pitch + column * 3);
  }
};

// Each colour from its own pixels.
template <class T, bool kRgb>
struct Apart {
  std::array<const T*, 3> corner;
  std::ptrdiff_t pixel;
  std::ptrdiff_t pitch;

  HWY_INLINE F8 operator()(std::ptrdiff_t row, std::ptrdiff_t column) const {
    if constexpr (kRgb) return spread(words(row * pitch + column * 3));
    const std::ptrdiff_t at = row * pitch + column * pixel;
    return pair_of(mixed_tap(at), mixed_tap(at + pixel));
  }
  HWY_INLINE F16 four(std::ptrdiff_t row) const {
    if constexpr (kRgb) return spread(words(row * pitch), words(row * pitch + 6));
    return row_of((*this)(row, 0), (*this)(row, 2));
  }

 private:
  HWY_INLINE W8 words(std::ptrdiff_t at) const {
    const EightWords d;
    constexpr std::uint16_t kAll = 0xFFFF;
    alignas(16) static constexpr std::array<std::uint16_t, 8> kRed{kAll, 0, 0, kAll, 0, 0, 0, 0};
    alignas(16) static constexpr std::array<std::uint16_t, 8> kGreen{0, kAll, 0, 0, kAll, 0, 0, 0};
    const auto red = hn::MaskFromVec(hn::Load(d, kRed.data()));
    const auto green = hn::MaskFromVec(hn::Load(d, kGreen.data()));
    return hn::IfThenElse(
        red, hn::LoadU(d, corner[0] + at),
        hn::IfThenElse(green, hn::LoadU(d, corner[1] + at), hn::LoadU(d, corner[2] + at)));
  }
  HWY_INLINE F4 mixed_tap(std::ptrdiff_t at) const {
    const auto first = hn::FirstN(Four(), 1);
    const auto second = hn::FirstN(Four(), 2);
    return hn::IfThenElse(first, one_tap(corner[0] + at),
                          hn::IfThenElse(second, one_tap(corner[1] + at), one_tap(corner[2] + at)));
  }
};

// Any window, any number of channels, pixels beyond the border held.
template <class T>
struct Held {
  const T* samples;
  const std::int32_t* column;  // of each colour
  const std::int32_t* row;
  int width, height, channels;

  HWY_INLINE F8 operator()(std::ptrdiff_t down, std::ptrdiff_t right) const {
    return pair_of(tap(down, right), tap(down, right + 1));
  }
  HWY_INLINE F16 four(std::ptrdiff_t down) const {
    return row_of((*this)(down, 0), (*this)(down, 2));
  }

 private:
  HWY_INLINE F4 tap(std::ptrdiff_t down, std::ptrdiff_t right) const {
    alignas(16) std::array<float, 4> value{};
    for (std::size_t c = 0; c < 3; ++c) {
      std::ptrdiff_t x = column[c] + right;
      std::ptrdiff_t y = row[c] + down;
      x = x < 0 ? 0 : (x < width ? x : width - 1);
      y = y < 0 ? 0 : (y < height ? y : height - 1);
      const std::ptrdiff_t pixel = (y * width + x) * channels;
      value[c] = static_cast<float>(samples[pixel + (channels < 3 ? 0 : static_cast<int>(c))]);
    }
    return hn::Load(Four(), value.data());
  }
};

}  // namespace
}  // namespace HWY_NAMESPACE
}  // namespace seamwright
HWY_AFTER_NAMESPACE();

#endif
