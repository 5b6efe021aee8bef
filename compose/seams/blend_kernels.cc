#include "compose/seams/blend_kernels.h"

#include "compose/seams/binary_log.h"

// Highway compiles what follows once for each instruction set.
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "compose/seams/blend_kernels.cc"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

void agree(const RatioRow& row, std::size_t count, const AgreeSums& sums) {
  const float* HWY_RESTRICT known = row.known;
  const float* HWY_RESTRICT ratio_ev = row.ratio_ev;
  const float* HWY_RESTRICT fit_ev = row.fit_ev;
  const float tilt = row.tilt;
  const float per_agree_ev = row.per_agree_ev;
  float* HWY_RESTRICT one = sums.of[AgreeSums::one];
  float* HWY_RESTRICT tilts = sums.of[AgreeSums::tilt];
  float* HWY_RESTRICT tilt_squares = sums.of[AgreeSums::tilt_square];
  float* HWY_RESTRICT ratios = sums.of[AgreeSums::ratio];
  float* HWY_RESTRICT ratio_tilts = sums.of[AgreeSums::ratio_tilt];
  float* HWY_RESTRICT agreeing = sums.of[AgreeSums::agreeing];
  for (std::size_t x = 0; x < count; ++x) {
    const float off = (ratio_ev[x] - fit_ev[x]) * per_agree_ev;
    const float left = 1 - off * off;
    const float agrees = left > 0 ? known[x] : 0.0F;
    const float weight = agrees * left * left;
    const float tilted = weight * tilt;
    one[x] += weight;
    tilts[x] += tilted;
    tilt_squares[x] += tilted * tilt;
    ratios[x] += weight * ratio_ev[x];
    ratio_tilts[x] += tilted * ratio_ev[x];
    agreeing[x] += agrees;
  }
}

HWY_INLINE float smoothly(float t) {  // smooth_step
  const float least = t > 0 ? t : 0.0F;
  const float held = least < 1 ? least : 1.0F;
  return held * held * held * (held * (6 * held - 15) + 10);
}

void crossings(const CrossingRow& of, std::size_t count, float* HWY_RESTRICT share_a) {
  const CrossingRow crossing = of;
  const float* HWY_RESTRICT seam = crossing.seam;
  const float* HWY_RESTRICT top = crossing.top;
  const float* HWY_RESTRICT bottom = crossing.bottom;
  const float row = crossing.row;
  constexpr float kNoRoom = 1e-6F;
  for (std::size_t x = 0; x < count; ++x) {
    const float not_above = seam[x] > top[x] ? seam[x] : top[x];
    const float centre = not_above < bottom[x] ? not_above : bottom[x];
    const float above = centre - top[x];
    const float below = bottom[x] - centre;
    const float room = row < centre ? above : below;
    const float half = room < crossing.half_px ? room : crossing.half_px;
    const float crossed =
        smoothly(0.5F + 0.5F * (centre - row) / (half > kNoRoom ? half : kNoRoom));
    const float within = row >= bottom[x] ? 0.0F : crossed;
    share_a[x] = row <= top[x] ? 1.0F : within;
  }
}

void slides(float row, const float* HWY_RESTRICT top, const float* HWY_RESTRICT bottom,
            std::size_t count, float* HWY_RESTRICT share) {
  for (std::size_t x = 0; x < count; ++x) {
    const float room = bottom[x] - top[x];
    const float past = row - top[x];
    const float step = past > 0 ? 1.0F : 0.0F;
    const float slid = smoothly(past / (room > 0 ? room : 1.0F));
    share[x] = room > 0 ? slid : step;
  }
}

void gains(const float* HWY_RESTRICT share, const float* HWY_RESTRICT ratio_ev, std::size_t count,
           float* HWY_RESTRICT gain_a, float* HWY_RESTRICT gain_b) {
  for (std::size_t x = 0; x < count; ++x) {
    gain_a[x] = exp2_of(-share[x] * ratio_ev[x]);
    gain_b[x] = exp2_of((1 - share[x]) * ratio_ev[x]);
  }
}

void levels(const LevelRow& row, std::size_t count, float* HWY_RESTRICT here,
            float* HWY_RESTRICT band) {
  const float* HWY_RESTRICT weighted = row.weighted;
  const float* HWY_RESTRICT weight = row.weight;
  const float* HWY_RESTRICT there = row.there;
  const float enough = row.enough;
  for (std::size_t x = 0; x < count; ++x) {
    const float part = weight[x] / enough;
    const float known = part < 1 ? part : 1.0F;
    const float quotient = weighted[x] / (weight[x] > 0 ? weight[x] : 1.0F);
    const float mean = weight[x] > 0 ? quotient : 0.0F;
    here[x] = there[x] + known * (mean - there[x]);
    band[x] = here[x] - there[x];
  }
}

void logs(const float* HWY_RESTRICT light, float floor, std::size_t count, float* HWY_RESTRICT to) {
  for (std::size_t x = 0; x < count; ++x) {
    to[x] = log2_of(floor + (light[x] > 0 ? light[x] : 0.0F));
  }
}

// Four rows at a time, so that `to` is seldom written.
void add(const float* tap, int count, const float* HWY_RESTRICT from, std::ptrdiff_t stride,
         int width, float* HWY_RESTRICT to) {
  int i = 0;
  for (; i + 4 <= count; i += 4, from += 4 * stride) {
    const float* r0 = from;
    const float* r1 = from + stride;
    const float* r2 = from + 2 * stride;
    const float* r3 = from + 3 * stride;
    const float t0 = tap[i];
    const float t1 = tap[i + 1];
    const float t2 = tap[i + 2];
    const float t3 = tap[i + 3];
    for (int x = 0; x < width; ++x) {
      to[x] += (t0 * r0[x] + t1 * r1[x]) + (t2 * r2[x] + t3 * r3[x]);
    }
  }
  for (; i < count; ++i, from += stride) {
    const float t0 = tap[i];
    for (int x = 0; x < width; ++x) to[x] += t0 * from[x];
  }
}

}  // namespace
}  // namespace HWY_NAMESPACE
}  // namespace seamwright
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace seamwright {

HWY_EXPORT(agree);
HWY_EXPORT(crossings);
HWY_EXPORT(slides);
HWY_EXPORT(gains);
HWY_EXPORT(levels);
HWY_EXPORT(logs);
HWY_EXPORT(add);

void add_agreeing(const RatioRow& row, std::size_t count, const AgreeSums& sums) {
  HWY_DYNAMIC_DISPATCH(agree)(row, count, sums);
}

void crossing_row(const CrossingRow& crossing, std::size_t count, float* share_a) {
  HWY_DYNAMIC_DISPATCH(crossings)(crossing, count, share_a);
}

void sliding_row(float row, const float* top, const float* bottom, std::size_t count,
                 float* share) {
  HWY_DYNAMIC_DISPATCH(slides)(row, top, bottom, count, share);
}

void gains_row(const float* share, const float* ratio_ev, std::size_t count, float* gain_a,
               float* gain_b) {
  HWY_DYNAMIC_DISPATCH(gains)(share, ratio_ev, count, gain_a, gain_b);
}

void level_row(const LevelRow& row, std::size_t count, float* here, float* band) {
  HWY_DYNAMIC_DISPATCH(levels)(row, count, here, band);
}

void log_row(const float* light, float floor, std::size_t count, float* to) {
  HWY_DYNAMIC_DISPATCH(logs)(light, floor, count, to);
}

void add_rows(const float* tap, int count, const float* from, std::ptrdiff_t stride, int width,
              float* to) {
  HWY_DYNAMIC_DISPATCH(add)(tap, count, from, stride, width, to);
}

}  // namespace seamwright
#endif
