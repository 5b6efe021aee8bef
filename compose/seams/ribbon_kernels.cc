#include "compose/seams/ribbon_kernels.h"

// Highway compiles what follows once for each instruction set.
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "compose/seams/ribbon_kernels.cc"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

// A point seen under a row's colatitude: RibbonPoint in floats, relative to that colatitude.
struct FastRibbonPoint {
  float sin;
  float cos;
  float from_m;
  float inverse_m;
  float square;
  float reach;

  HWY_INLINE FastRibbonPoint(const RibbonPointRow& row, float from, float inverse)
      : sin(row.sin), cos(row.cos), from_m(from), inverse_m(inverse) {
    const float across = from * inverse * sin;
    square = across * across;
    // √(1 − square), by its series: to 1e-10 where the square is within kMostSquare.
    const float root =
        1 -
        square * (1.0F / 2 + square * (1.0F / 8 + square * (1.0F / 16 + square * (5.0F / 128))));
    reach = root - from * inverse * cos;
  }

  // Tangent of the turn.
  [[nodiscard]] HWY_INLINE float tangent(float to_m) const {
    const float moved = (from_m - to_m) * inverse_m;
    return -moved * sin / (reach + moved * cos);
  }
};

constexpr float kMostTangent = 0.15F;
constexpr float kMostSquare = 0.02F;

// The arc tangent's series: to 1e-9 where it is within kMostTangent.
HWY_INLINE float arc(float t) {
  const float q = t * t;
  return t * (1 - q * (1.0F / 3 - q * (1.0F / 5 - q * (1.0F / 7 - q * (1.0F / 9)))));
}

// Both of what is compared: without a branch, so that loops stay straight.
HWY_INLINE bool both(bool one, bool other) {
  return (static_cast<int>(one) & static_cast<int>(other)) != 0;
}

// What lies behind the viewpoint has turned by far more.
HWY_INLINE bool small(const FastRibbonPoint& point, float to_m, float t) {
  const float moved = (point.from_m - to_m) * point.inverse_m;
  const bool near = both(t < kMostTangent, -t < kMostTangent);
  return both(near, both(point.square < kMostSquare, 0 < point.reach + moved * point.cos));
}

void turns(const RibbonPointRow& of, float from_m, float to_m, float* HWY_RESTRICT turn) {
  const RibbonPointRow row = of;
  const float* HWY_RESTRICT inverse = row.inverse_m;
  for (std::size_t x = 0; x < row.count; ++x) {
    const FastRibbonPoint point(row, from_m, inverse[x]);
    const float t = point.tangent(to_m);
    turn[x] = small(point, to_m, t) ? arc(t) : kNoTurn;
  }
}

void own_turns(const RibbonPointRow& of, const float* HWY_RESTRICT from_m, float to_m,
               float* HWY_RESTRICT turn) {
  const RibbonPointRow row = of;
  const float* HWY_RESTRICT inverse = row.inverse_m;
  for (std::size_t x = 0; x < row.count; ++x) {
    const FastRibbonPoint point(row, from_m[x], inverse[x]);
    const float t = point.tangent(to_m);
    turn[x] = small(point, to_m, t) ? arc(t) : kNoTurn;
  }
}

HWY_INLINE float share_walked(float past_rad, float per_width) {
  const float t = past_rad * per_width;
  const float least = t > 0 ? t : 0.0F;
  return least < 1 ? least : 1.0F;
}

HWY_INLINE float offset_at(float half_m, float walked) {
  return half_m * (1 - 2 * walked * walked * (3 - 2 * walked));
}

void offsets(const WalkRow& walk, std::size_t count, float* HWY_RESTRICT offset_m) {
  const double eta = walk.eta_rad;
  const double* HWY_RESTRICT begin = walk.begin_rad;
  const float* HWY_RESTRICT per_width = walk.per_width;
  const float half = walk.half_m;
  for (std::size_t x = 0; x < count; ++x) {
    offset_m[x] = offset_at(half, share_walked(static_cast<float>(eta - begin[x]), per_width[x]));
  }
}

// Newton's method from the middle of what both pupils see. Each step leaves a small part of its own
// square: what the last one left is below a float's rounding, or it is said that it may not be.
void walks(const RibbonPointRow& of, const WalkRow& walk, float from_m, float* HWY_RESTRICT turn) {
  constexpr int kSteps = 4;
  constexpr float kLastStep_rad = 1e-5F;
  const RibbonPointRow row = of;
  const float* HWY_RESTRICT inverse = row.inverse_m;
  const double eta = walk.eta_rad;
  const double* HWY_RESTRICT begin = walk.begin_rad;
  const float* HWY_RESTRICT per_width = walk.per_width;
  const float half = walk.half_m;
  for (std::size_t x = 0; x < row.count; ++x) {
    const FastRibbonPoint point(row, from_m, inverse[x]);
    const float to_a = point.tangent(half);
    const float to_b = point.tangent(-half);
    const float high = arc(to_a);
    const float low = arc(to_b);
    const auto past = static_cast<float>(eta - begin[x]);
    const float bend = 6 * (high - low) * per_width[x];
    float at = 0.5F * (high + low);
    float step = 0;
    for (int i = 0; i < kSteps; ++i) {
      const float walked = share_walked(past + at, per_width[x]);
      const float error = at - arc(point.tangent(offset_at(half, walked)));
      step = error / (1 + bend * walked * (1 - walked));
      at -= step;
    }
    const bool settled = both(step < kLastStep_rad, -step < kLastStep_rad);
    const bool found = both(settled, both(small(point, half, to_a), small(point, -half, to_b)));
    turn[x] = found ? at : kNoTurn;
  }
}

void column(const PathColumn& of, std::size_t count, double* HWY_RESTRICT to,
            std::int8_t* HWY_RESTRICT came) {
  const double* HWY_RESTRICT before = of.before;
  const std::int32_t* HWY_RESTRICT node = of.node;
  const double* step = of.step;
  const int most = of.most;
  // Added and taken off again, it leaves whole units: 1.5 · 2⁵⁸, whose last bit is one.
  constexpr double kRounding = 432345564227567616.0;
  for (std::size_t y = 0; y < count; ++y) to[y] = before[y];
  for (int d = 1; d <= most; ++d) {
    const double* HWY_RESTRICT upper = before - d;
    const double* HWY_RESTRICT lower = before + d;
    const double from_above = step[d] + (2 * d - 1);
    const double from_below = step[d] + 2 * d;
    for (std::size_t y = 0; y < count; ++y) {
      const double above = upper[y] + from_above;
      const double below = lower[y] + from_below;
      const double nearer = above < below ? above : below;
      to[y] = nearer < to[y] ? nearer : to[y];
    }
  }
  for (std::size_t y = 0; y < count; ++y) {
    const double least = to[y];
    const double whole = (least + kRounding) - kRounding;
    came[y] = static_cast<std::int8_t>(static_cast<std::int32_t>(least - whole));
    const double reached = whole + kPathUnit * node[y];
    to[y] = whole < kNoPath ? reached : kNoPath;
  }
}

void moved(const MovedRow& of, std::size_t count, float* HWY_RESTRICT by_px) {
  const MovedRow row = of;
  const float* HWY_RESTRICT now = row.now_rad;
  const float* HWY_RESTRICT read = row.read_rad;
  const float* HWY_RESTRICT above = row.above_rad;
  const float* HWY_RESTRICT below = row.below_rad;
  const float per_row = row.px_per_rad / row.between;
  for (std::size_t x = 0; x < count; ++x) {
    const float stretch = 1 + (below[x] - above[x]) * per_row;
    const float least = stretch > 0.5F ? stretch : 0.5F;
    const float held = least < 2 ? least : 2.0F;
    by_px[x] = (now[x] - read[x]) * row.px_per_rad / held;
  }
}

// catmull_rom_weight (base/catmull_rom.h), without a branch.
HWY_INLINE float spline_weight(float off) {
  const float d = off > 0 ? off : -off;
  const float near = (1.5F * d - 2.5F) * d * d + 1;
  const float far = ((2.5F - 0.5F * d) * d - 4) * d + 2;
  const float outer = d < 2 ? far : 0.0F;
  return d < 1 ? near : outer;
}

void interpolate(std::span<const float* const> rows, int first, const float* HWY_RESTRICT by_px,
                 std::size_t count, float* HWY_RESTRICT value) {
  constexpr std::size_t kMost = 64;  // sums kept at hand
  for (std::size_t begin = 0; begin < count; begin += kMost) {
    const std::size_t some = count - begin < kMost ? count - begin : kMost;
    const float* HWY_RESTRICT by = by_px + begin;
    float* HWY_RESTRICT own = value + begin;
    float sum[kMost] = {};
    for (std::size_t k = 0; k < rows.size(); ++k) {
      const float* HWY_RESTRICT row = rows[k] + begin;
      const auto at = static_cast<float>(first + static_cast<int>(k));
      for (std::size_t i = 0; i < some; ++i) sum[i] += spline_weight(at - by[i]) * row[i];
    }
    for (std::size_t i = 0; i < some; ++i) {
      const float held = sum[i] > 0 ? sum[i] : 0.0F;
      own[i] = by[i] == 0 ? own[i] : held;
    }
  }
}

}  // namespace
}  // namespace HWY_NAMESPACE
}  // namespace seamwright
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace seamwright {

HWY_EXPORT(turns);
HWY_EXPORT(own_turns);
HWY_EXPORT(offsets);
HWY_EXPORT(walks);
HWY_EXPORT(column);
HWY_EXPORT(moved);
HWY_EXPORT(interpolate);

void turn_row(const RibbonPointRow& row, float from_m, float to_m, float* turn) {
  HWY_DYNAMIC_DISPATCH(turns)(row, from_m, to_m, turn);
}

void turn_row(const RibbonPointRow& row, const float* from_m, float to_m, float* turn) {
  HWY_DYNAMIC_DISPATCH(own_turns)(row, from_m, to_m, turn);
}

void offset_row(const WalkRow& walk, std::size_t count, float* offset_m) {
  HWY_DYNAMIC_DISPATCH(offsets)(walk, count, offset_m);
}

void walk_row(const RibbonPointRow& row, const WalkRow& walk, float from_m, float* turn) {
  HWY_DYNAMIC_DISPATCH(walks)(row, walk, from_m, turn);
}

void path_column(const PathColumn& path, std::size_t count, double* to, std::int8_t* came) {
  HWY_DYNAMIC_DISPATCH(column)(path, count, to, came);
}

void moved_row(const MovedRow& row, std::size_t count, float* by_px) {
  HWY_DYNAMIC_DISPATCH(moved)(row, count, by_px);
}

void interpolate_row(std::span<const float* const> rows, int first, const float* by_px,
                     std::size_t count, float* value) {
  HWY_DYNAMIC_DISPATCH(interpolate)(rows, first, by_px, count, value);
}

}  // namespace seamwright
#endif
