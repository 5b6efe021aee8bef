#pragma once

// Names and values of the fields of what decides a panorama, one function a struct. Each takes its
// struct apart by a structured binding of all its members: a member that was added to the struct
// and not here does not compile. `see` is called as see(name, member).

#include <concepts>
#include <type_traits>

#include "imaging/frame.h"
#include "jobs/brackets/grouping.h"
#include "jobs/shot/shot_wishes.h"

namespace seamwright {

template <class T, class Struct>
concept ConstOr = std::same_as<std::remove_const_t<T>, Struct>;

template <ConstOr<NoiseModel> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [shot, read] = value;
  see("shot", shot);
  see("read", read);
}

template <ConstOr<MergeOptions> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [clip_level, noise, unit_exposure, align, refine_exposures, resolve_motion] = value;
  see("clip_level", clip_level);
  see("noise", noise);
  see("unit_exposure", unit_exposure);
  see("align", align);
  see("refine_exposures", refine_exposures);
  see("resolve_motion", resolve_motion);
}

template <ConstOr<ToneWish> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [brighter_ev, local] = value;
  see("brighter_ev", brighter_ev);
  see("local", local);
}

template <ConstOr<DisplayLook> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [level_ev, gain_ev, red_ev, blue_ev] = value;
  see("level_ev", level_ev);
  see("gain_ev", gain_ev);
  see("red_ev", red_ev);
  see("blue_ev", blue_ev);
}

template <ConstOr<LookWish> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [match, room_ev, cast_ev, warmer_ev, by_run] = value;
  see("match", match);
  see("room_ev", room_ev);
  see("cast_ev", cast_ev);
  see("warmer_ev", warmer_ev);
  see("by_run", by_run);
}

template <ConstOr<PicturePoint> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [lens, px] = value;
  see("lens", lens);
  see("u_px", px.x());
  see("v_px", px.y());
}

template <ConstOr<PictureEdge> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [ends] = value;
  see("ends", ends);
}

template <ConstOr<LevelWish> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [upright, edges, middle_deg, compass_deg] = value;
  see("upright", upright);
  see("edges", edges);
  see("middle_deg", middle_deg);
  see("compass_deg", compass_deg);
}

template <ConstOr<CoverWish> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [cover_deg, plate, plate_deg] = value;
  see("cover_deg", cover_deg);
  see("plate", plate);
  see("plate_deg", plate_deg);
}

template <ConstOr<ShotWishes> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [width_px, kernel, seam, blend_half_width_deg, gain_match, merge, tone, look, glow_removal,
         level, cover, compression, jpeg_quality, jpeg_width_px, keep_location, anyway,
         touch_knocked] = value;
  see("width_px", width_px);
  see("kernel", kernel);
  see("seam", seam);
  see("blend_half_width_deg", blend_half_width_deg);
  see("gain_match", gain_match);
  see("merge", merge);
  see("tone", tone);
  see("look", look);
  see("glow_removal", glow_removal);
  see("level", level);
  see("cover", cover);
  see("compression", compression);
  see("jpeg_quality", jpeg_quality);
  see("jpeg_width_px", jpeg_width_px);
  see("keep_location", keep_location);
  see("anyway", anyway);
  see("touch_knocked", touch_knocked);
}

template <ConstOr<FrameIntake> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [layout, lens_count, quarter_turns, mirrored] = value;
  see("layout", layout);
  see("lens_count", lens_count);
  see("quarter_turns", quarter_turns);
  see("mirrored", mirrored);
}

template <ConstOr<BracketMember> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [frame, exposure] = value;
  see("frame", frame);
  see("exposure", exposure);
}

template <ConstOr<BracketStep> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [ev, members] = value;
  see("ev", ev);
  see("members", members);
}

template <ConstOr<BracketSeries> T, class See>
void visit_fields(T& value, See&& see) {
  auto& [lens, steps] = value;
  see("lens", lens);
  see("steps", steps);
}

struct SeeNothing {
  template <class T>
  void operator()(const char*, T&) const {}
};

/// Whether one of the functions above knows the type.
template <class T>
concept HasFields = requires(T& value) {
  visit_fields(value, SeeNothing{});
};

}  // namespace seamwright
