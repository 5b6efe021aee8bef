#include "compose/render/pair_kernels.h"

#include <limits>

#include "compose/seams/band_blend.h"

// Highway compiles what follows once for each instruction set; for plain C++ see light_kernels.cc.
#define HWY_BROKEN_EMU128 0
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "compose/render/pair_kernels.cc"
#include <hwy/foreach_target.h>
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace seamwright {
namespace HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;

// Lanes are neighbouring positions. Runs have room for whole vectors.
using ManyPlaces = hn::CappedTag<float, kRunSlack>;
using ManyPlaceInts = hn::RebindToSigned<ManyPlaces>;
using FP = hn::Vec<ManyPlaces>;
using IP = hn::Vec<ManyPlaceInts>;

HWY_INLINE FP between(FP from, FP to, FP share) {
  return hn::Add(from, hn::Mul(share, hn::Sub(to, from)));
}

// Whole numbers of the runs, least and most.
struct Outermost {
  IP least;
  IP most;

  Outermost()
      : least(hn::Set(ManyPlaceInts(), std::numeric_limits<std::int32_t>::max())),
        most(hn::Set(ManyPlaceInts(), std::numeric_limits<std::int32_t>::lowest())) {}
  HWY_INLINE void add(IP value) {
    least = hn::Min(least, value);
    most = hn::Max(most, value);
  }
  [[nodiscard]] int first() const { return hn::GetLane(hn::MinOfLanes(ManyPlaceInts(), least)); }
  [[nodiscard]] int last() const { return hn::GetLane(hn::MaxOfLanes(ManyPlaceInts(), most)); }
};

// The whole pixels whose centres lie before a place and after it.
struct Axis {
  int anchor;
  int size;
  bool closed;

  HWY_INLINE void corners(const float* places, std::int32_t* before, std::int32_t* after,
                          float* share, Outermost& outermost) const {
    const ManyPlaces d;
    const ManyPlaceInts ints;
    const FP at = hn::Sub(hn::LoadU(d, places), hn::Set(d, 0.5F));
    const FP whole = hn::Floor(at);
    hn::StoreU(hn::Sub(at, whole), d, share);
    const IP first = hn::Add(hn::ConvertTo(ints, whole), hn::Set(ints, anchor));
    outermost.add(first);
    hn::StoreU(held(first), ints, before);
    hn::StoreU(held(hn::Add(first, hn::Set(ints, 1))), ints, after);
  }

 private:
  [[nodiscard]] HWY_INLINE IP held(IP at) const {
    const ManyPlaceInts ints;
    const IP zero = hn::Zero(ints);
    const IP all = hn::Set(ints, size);
    const IP last = hn::Set(ints, size - 1);
    if (closed) {
      at = hn::IfThenElse(hn::Lt(at, zero), hn::Add(at, all), at);
      at = hn::IfThenElse(hn::Gt(at, last), hn::Sub(at, all), at);
    }
    return hn::Min(hn::Max(at, zero), last);
  }
};

void corners_of(const PlaceRun& places, const RibbonShape& shape, CornerRun& corners) {
  const Axis across{places.anchor_column, shape.width_px, shape.closed};
  const Axis down{places.anchor_row, shape.height_px, false};
  Outermost columns;
  Outermost rows;
  corners.count = places.count;
  for (std::size_t i = 0; i < places.count; i += hn::Lanes(ManyPlaces())) {
    across.corners(places.column.data() + i, corners.column[0].data() + i,
                   corners.column[1].data() + i, corners.right.data() + i, columns);
    down.corners(places.row.data() + i, corners.row[0].data() + i, corners.row[1].data() + i,
                 corners.down.data() + i, rows);
  }
  corners.first_column = columns.first();
  corners.last_column = columns.last() + 1;
  corners.first_row = rows.first();
  corners.last_row = rows.last() + 1;
}

void raster_at(const float* raster, int width_px, const CornerRun& corners, RunPlane& values) {
  const ManyPlaces d;
  const ManyPlaceInts ints;
  const IP width = hn::Set(ints, width_px);
  for (std::size_t i = 0; i < corners.count; i += hn::Lanes(d)) {
    const IP left = hn::LoadU(ints, corners.column[0].data() + i);
    const IP right = hn::LoadU(ints, corners.column[1].data() + i);
    const IP upper = hn::Mul(hn::LoadU(ints, corners.row[0].data() + i), width);
    const IP lower = hn::Mul(hn::LoadU(ints, corners.row[1].data() + i), width);
    const FP share = hn::LoadU(d, corners.right.data() + i);
    const FP above = between(hn::GatherIndex(d, raster, hn::Add(upper, left)),
                             hn::GatherIndex(d, raster, hn::Add(upper, right)), share);
    const FP below = between(hn::GatherIndex(d, raster, hn::Add(lower, left)),
                             hn::GatherIndex(d, raster, hn::Add(lower, right)), share);
    hn::StoreU(between(above, below, hn::LoadU(d, corners.down.data() + i)), d, values.data() + i);
  }
}

void columns_at(const float* of_columns, const CornerRun& corners, RunPlane& values) {
  const ManyPlaces d;
  const ManyPlaceInts ints;
  for (std::size_t i = 0; i < corners.count; i += hn::Lanes(d)) {
    const FP left = hn::GatherIndex(d, of_columns, hn::LoadU(ints, corners.column[0].data() + i));
    const FP right = hn::GatherIndex(d, of_columns, hn::LoadU(ints, corners.column[1].data() + i));
    hn::StoreU(between(left, right, hn::LoadU(d, corners.right.data() + i)), d, values.data() + i);
  }
}

// Lanes are the floats of one pixel of tones: all eight or as many as a vector has.
using Tone = hn::CappedTag<float, BandBlend::Tones::kFloats>;

// The floats from `first` on of one place's tone.
HWY_INLINE hn::Vec<Tone> tone_at(const std::array<const float*, 4>& corner, std::size_t first,
                                 float right, float down) {
  const Tone d;
  const auto mixed = [&](auto from, auto to, float share) {
    return hn::Add(from, hn::Mul(hn::Set(d, share), hn::Sub(to, from)));
  };
  const auto above = mixed(hn::LoadU(d, corner[0] + first), hn::LoadU(d, corner[1] + first), right);
  const auto below = mixed(hn::LoadU(d, corner[2] + first), hn::LoadU(d, corner[3] + first), right);
  return mixed(above, below, down);
}

alignas(32) constexpr std::array<float, BandBlend::Tones::kFloats> kNeutral{1, 1, 1, 1, 0, 0, 0, 0};

void tones_at(const float* raster, int width_px, const CornerRun& corners, const RunPlane* strength,
              RunTones& tones) {
  using Tones = BandBlend::Tones;
  const Tone d;
  const auto pixel = [&](std::size_t i, std::size_t row, std::size_t column) {
    const auto at =
        static_cast<std::ptrdiff_t>(corners.row[row][i]) * width_px + corners.column[column][i];
    return raster + static_cast<std::ptrdiff_t>(Tones::kFloats) * at;
  };
  alignas(32) std::array<float, Tones::kFloats> one;
  for (std::size_t i = 0; i < corners.count; ++i) {
    const std::array<const float*, 4> corner{pixel(i, 0, 0), pixel(i, 0, 1), pixel(i, 1, 0),
                                             pixel(i, 1, 1)};
    for (std::size_t c = 0; c < Tones::kFloats; c += hn::Lanes(d)) {
      auto value = tone_at(corner, c, corners.right[i], corners.down[i]);
      if (strength != nullptr) {
        const auto neutral = hn::Load(d, kNeutral.data() + c);
        value = hn::Add(neutral, hn::Mul(hn::Set(d, (*strength)[i]), hn::Sub(value, neutral)));
      }
      hn::Store(value, d, one.data() + c);
    }
    const hn::CappedTag<float, RunTones::kFloats> half;
    for (std::size_t c = 0; c < RunTones::kFloats; c += hn::Lanes(half)) {
      const std::size_t to = RunTones::kFloats * i + c;
      hn::Store(hn::Load(half, one.data() + c), half, tones.gain.data() + to);
      hn::Store(hn::Load(half, one.data() + Tones::kAdd + c), half, tones.add.data() + to);
    }
  }
}

void seam_shares(const RunPlane& seam_rows, const PlaceRun& places, float feather_px,
                 RunPlane& shares) {
  const ManyPlaces d;
  const FP anchor = hn::Set(d, static_cast<float>(places.anchor_row));
  const FP feather = hn::Set(d, feather_px);
  const FP one = hn::Set(d, 1.0F);
  for (std::size_t i = 0; i < places.count; i += hn::Lanes(d)) {
    const FP seam = hn::Sub(hn::LoadU(d, seam_rows.data() + i), anchor);
    const FP above = hn::Sub(seam, hn::LoadU(d, places.row.data() + i));
    FP t = hn::Add(hn::Div(above, feather), hn::Set(d, 0.5F));
    t = hn::Min(hn::Max(t, hn::Zero(d)), one);
    const FP step = hn::Mul(hn::Mul(t, t), hn::Sub(hn::Set(d, 3.0F), hn::Add(t, t)));
    hn::StoreU(step, d, shares.data() + i);
  }
}

void moved_positions(const ShiftedPlanes& planes, const RunPlane& shifts, std::size_t count,
                     SourceRun& run) {
  const ManyPlaces d;
  const FP one = hn::Set(d, 1.0F);
  const FP half = hn::Set(d, 0.5F);
  for (std::size_t i = 0; i < count; i += hn::Lanes(d)) {
    const FP s = hn::Mul(hn::Sub(hn::LoadU(d, shifts.data() + i), hn::Set(d, planes.least)),
                         hn::Set(d, planes.per_step));
    // Of the values at 0, 1 and 2.
    const FP from_second = hn::Sub(s, one);
    const FP from_third = hn::Sub(from_second, one);
    const FP first = hn::Mul(half, hn::Mul(from_second, from_third));
    const FP second = hn::Mul(s, hn::Sub(hn::Zero(d), from_third));
    const FP third = hn::Mul(half, hn::Mul(s, from_second));
    const auto mixed = [&](std::size_t k) {
      const auto plane = [&](std::size_t at) { return hn::LoadU(d, planes.position[at] + i); };
      return hn::Add(hn::Add(hn::Mul(first, plane(k)), hn::Mul(second, plane(k + 2))),
                     hn::Mul(third, plane(k + 4)));
    };
    hn::StoreU(mixed(0), d, run.x.data() + i);
    hn::StoreU(mixed(1), d, run.y.data() + i);
  }
}

RunRange range(const RunPlane& values, std::size_t count) {
  const ManyPlaces d;
  FP least = hn::Set(d, values[0]);
  FP most = least;
  for (std::size_t i = 0; i < count; i += hn::Lanes(d)) {
    const FP value = hn::LoadU(d, values.data() + i);
    least = hn::Min(least, value);
    most = hn::Max(most, value);
  }
  return {hn::GetLane(hn::MinOfLanes(d, least)), hn::GetLane(hn::MaxOfLanes(d, most))};
}

}  // namespace
}  // namespace HWY_NAMESPACE
}  // namespace seamwright
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace seamwright {

HWY_EXPORT(corners_of);
HWY_EXPORT(raster_at);
HWY_EXPORT(columns_at);
HWY_EXPORT(tones_at);
HWY_EXPORT(seam_shares);
HWY_EXPORT(moved_positions);
HWY_EXPORT(range);

void find_corners(const PlaceRun& places, const RibbonShape& shape, CornerRun& corners) {
  HWY_DYNAMIC_DISPATCH(corners_of)(places, shape, corners);
}

void read_raster(const float* raster, int width_px, const CornerRun& corners, RunPlane& values) {
  HWY_DYNAMIC_DISPATCH(raster_at)(raster, width_px, corners, values);
}

void read_columns(const float* of_columns, const CornerRun& corners, RunPlane& values) {
  HWY_DYNAMIC_DISPATCH(columns_at)(of_columns, corners, values);
}

void read_tones(const float* raster, int width_px, const CornerRun& corners,
                const RunPlane* strength, RunTones& tones) {
  HWY_DYNAMIC_DISPATCH(tones_at)(raster, width_px, corners, strength, tones);
}

void share_along_seam(const RunPlane& seam_rows, const PlaceRun& places, float feather_px,
                      RunPlane& shares) {
  HWY_DYNAMIC_DISPATCH(seam_shares)(seam_rows, places, feather_px, shares);
}

void move_positions(const ShiftedPlanes& planes, const RunPlane& shifts, std::size_t count,
                    SourceRun& run) {
  HWY_DYNAMIC_DISPATCH(moved_positions)(planes, shifts, count, run);
}

RunRange range_of(const RunPlane& values, std::size_t count) {
  return HWY_DYNAMIC_DISPATCH(range)(values, count);
}

}  // namespace seamwright
#endif
