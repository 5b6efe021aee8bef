#include "compose/seams/cost_kernels.h"

#include <limits>

#include "compose/seams/label_windows.h"

// Highway compiles what follows once for each instruction set.
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "compose/seams/cost_kernels.cc"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

void difference(const float* HWY_RESTRICT here, const std::uint8_t* HWY_RESTRICT here_seen,
                const PartnerRows& partner, float unit, std::size_t count,
                std::int16_t* HWY_RESTRICT to) {
  const float* HWY_RESTRICT v0 = partner.value[0];
  const float* HWY_RESTRICT v1 = partner.value[1];
  const float* HWY_RESTRICT v2 = partner.value[2];
  const float* HWY_RESTRICT v3 = partner.value[3];
  const std::uint8_t* HWY_RESTRICT s0 = partner.seen[0];
  const std::uint8_t* HWY_RESTRICT s1 = partner.seen[1];
  const std::uint8_t* HWY_RESTRICT s2 = partner.seen[2];
  const std::uint8_t* HWY_RESTRICT s3 = partner.seen[3];
  const float w0 = partner.weight[0];
  const float w1 = partner.weight[1];
  const float w2 = partner.weight[2];
  const float w3 = partner.weight[3];
  for (std::size_t x = 0; x < count; ++x) {
    const float other = w0 * v0[x] + w1 * v1[x] + w2 * v2[x] + w3 * v3[x];
    const int all = here_seen[x] & s0[x] & s1[x] & s2[x] & s3[x];
    const auto value =
        static_cast<std::int16_t>(static_cast<std::int32_t>(unit * (here[x] - other)));
    to[x] = all != 0 ? value : kUnseenDifference;
  }
}

void window(const std::int16_t* HWY_RESTRICT centre, std::ptrdiff_t stride, std::int16_t clip,
            std::size_t count, std::int16_t* HWY_RESTRICT sum) {
  constexpr int kReach = 2;
  for (std::size_t x = 0; x < count; ++x) sum[x] = 0;
  for (int dy = -kReach; dy <= kReach; ++dy) {
    const std::int16_t* HWY_RESTRICT row = centre + dy * stride;
    for (std::size_t x = 0; x < count; ++x) {
      std::int16_t total = sum[x];
      for (int dx = -kReach; dx <= kReach; ++dx) {
        const auto d =
            static_cast<std::int16_t>(centre[x] - row[static_cast<std::ptrdiff_t>(x) + dx]);
        const auto minus = static_cast<std::int16_t>(-d);
        const std::int16_t size = d > minus ? d : minus;
        total = static_cast<std::int16_t>(total + (size < clip ? size : clip));
      }
      sum[x] = total;
    }
  }
}

// Median of nine by 19 exchanges (after Paeth, Graphics Gems, 1990, from memory; right for all 512
// patterns of zeros and ones, and so for all values).
template <class V>
V median_of_nine(std::array<V, 9> v) {
  constexpr std::array<std::array<std::size_t, 2>, 19> kExchanges = {{{1, 2},
                                                                      {4, 5},
                                                                      {7, 8},
                                                                      {0, 1},
                                                                      {3, 4},
                                                                      {6, 7},
                                                                      {1, 2},
                                                                      {4, 5},
                                                                      {7, 8},
                                                                      {0, 3},
                                                                      {5, 8},
                                                                      {4, 7},
                                                                      {3, 6},
                                                                      {1, 4},
                                                                      {2, 5},
                                                                      {4, 7},
                                                                      {4, 2},
                                                                      {6, 4},
                                                                      {4, 2}}};
  for (const auto& [low, high] : kExchanges) {
    const V least = hwy::HWY_NAMESPACE::Min(v[low], v[high]);
    v[high] = hwy::HWY_NAMESPACE::Max(v[low], v[high]);
    v[low] = least;
  }
  return v[4];
}

template <class D>
void medians(D d, const std::array<const float*, 3>& rows, std::size_t x, float* to) {
  namespace hn = hwy::HWY_NAMESPACE;
  std::array<hn::Vec<D>, 9> around;
  for (std::size_t i = 0; i < 9; ++i) around[i] = hn::LoadU(d, rows[i / 3] + x + i % 3 - 1);
  hn::StoreU(median_of_nine(around), d, to + x);
}

void median(const std::array<const float*, 3>& rows, std::size_t count, float* to) {
  namespace hn = hwy::HWY_NAMESPACE;
  const hn::ScalableTag<float> d;
  std::size_t x = 0;
  for (; x + hn::Lanes(d) <= count; x += hn::Lanes(d)) medians(d, rows, x, to);
  for (; x < count; ++x) medians(hn::CappedTag<float, 1>(), rows, x, to);
}

void steps(std::span<PathStep> paths, std::int16_t small_step) {
  namespace hn = hwy::HWY_NAMESPACE;
  const hn::CappedTag<std::int16_t, kLabelsTogether> d;
  const hn::Rebind<std::uint8_t, decltype(d)> bytes;
  const auto lanes = static_cast<int>(hn::Lanes(d));
  const auto small = hn::Set(d, small_step);
  HWY_ALIGN std::int16_t leasts[kLabelsTogether];
  for (PathStep& path : paths) {
    const auto base = hn::Set(d, path.base);
    const auto jump = hn::Set(d, static_cast<std::int16_t>(path.base + path.large_step));
    auto least = hn::Set(d, std::numeric_limits<std::int16_t>::max());
    for (int k = 0; k < path.labels; k += lanes) {
      const auto aside = hn::Add(
          hn::Min(hn::LoadU(d, path.before + k - 1), hn::LoadU(d, path.before + k + 1)), small);
      const auto straight = hn::Min(hn::LoadU(d, path.before + k), jump);
      const auto cost = hn::PromoteTo(d, hn::LoadU(bytes, path.cost + k));
      const auto value = hn::Add(hn::Sub(hn::Min(aside, straight), base), cost);
      hn::StoreU(value, d, path.now + k);
      least = hn::Min(least, value);
      if (path.sum != nullptr) {
        hn::StoreU(hn::Add(hn::LoadU(d, path.sum + k), value), d, path.sum + k);
      }
    }
    hn::Store(least, d, leasts);
    std::int16_t lowest = leasts[0];
    for (int i = 1; i < lanes; ++i) lowest = leasts[i] < lowest ? leasts[i] : lowest;
    path.least = lowest;
  }
}

}  // namespace
}  // namespace HWY_NAMESPACE
}  // namespace seamwright
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace seamwright {

HWY_EXPORT(difference);
HWY_EXPORT(window);
HWY_EXPORT(median);
HWY_EXPORT(steps);

void difference_row(const float* here, const std::uint8_t* here_seen, const PartnerRows& partner,
                    float unit, std::size_t count, std::int16_t* to) {
  HWY_DYNAMIC_DISPATCH(difference)(here, here_seen, partner, unit, count, to);
}

void window_row(const std::int16_t* centre, std::ptrdiff_t stride, std::int16_t clip,
                std::size_t count, std::int16_t* sum) {
  HWY_DYNAMIC_DISPATCH(window)(centre, stride, clip, count, sum);
}

void median_row(const std::array<const float*, 3>& rows, std::size_t count, float* to) {
  HWY_DYNAMIC_DISPATCH(median)(rows, count, to);
}

void path_steps(std::span<PathStep> steps_of_paths, std::int16_t small_step) {
  HWY_DYNAMIC_DISPATCH(steps)(steps_of_paths, small_step);
}

}  // namespace seamwright
#endif
