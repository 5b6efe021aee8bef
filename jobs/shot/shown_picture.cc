#include "jobs/shot/shown_picture.h"

#include "jobs/look/finished.h"

namespace seamwright {

namespace {

// What is done to this picture: what the run decided, else what it tells of itself.
Result<DisplayLook> look_for(const LookWish& wish, const Image& picture, const LookReach& reach) {
  if (wish.match == LookMatch::run && wish.by_run) return *wish.by_run;
  const auto patches = patches_of(picture);
  if (!patches) return tl::unexpected(patches.error());
  const auto light = light_of(*patches);
  if (!light) return DisplayLook{};
  LookWish own = wish;
  own.match = LookMatch::shot;
  return look_of(own, {.light = *light}, {}, reach);
}

}  // namespace

Result<Image> shown_light(const ShotWishes& wishes, bool bracketed, const Image& light,
                          ShownBy& shown_by) {
  if (!has_look(wishes.look, bracketed)) {
    const Image* const pictures[] = {&light};
    const DisplayOptions display = display_options(wishes.tone, pictures);
    shown_by.curve = display.curve;
    return for_display(light, display);
  }
  const auto look = look_for(wishes.look, light, kReachOfLight);
  if (!look) return tl::unexpected(look.error());
  shown_by.look = *look;
  return finished_light(light, *look, wishes.tone);
}

bool frames_have_look(const ShotWishes& wishes, SampleType type) {
  return has_look(wishes.look, false) && type != SampleType::f32;
}

Result<void> give_look(const ShotWishes& wishes, Image& panorama, ShownBy& shown_by) {
  auto look = look_for(wishes.look, panorama, kReachOfFrames);
  if (!look) return tl::unexpected(look.error());
  look->gain_ev += wishes.tone.brighter_ev;
  shown_by.look = *look;
  return finish_frames(panorama, *look);
}

}  // namespace seamwright
