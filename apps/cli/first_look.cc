#include "apps/cli/first_look.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "base/base64.h"
#include "compose/render/preview.h"
#include "compose/render/render.h"
#include "imaging/convert.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "jobs/learning/shot_to_learn.h"

namespace seamwright {

namespace {

constexpr int kPanorama_px = 1024;
constexpr int kQuality = 82;

std::string jpeg_of(const Image& picture) {
  return base64(jpeg_bytes(to_type(picture, SampleType::u8), kQuality));
}

std::string look_along(const Rig& rig, std::span<const Frame> frames, const GainMatch& gains,
                       std::size_t lens) {
  Preview look{.field_deg = 75, .width_px = 480, .height_px = 360};
  look.middle = place_of(rig.lenses[lens].rig_from_lens * Vec3::UnitZ());
  const auto picture = render_preview(rig, frames, gains.gains, look);
  return picture ? jpeg_of(*picture) : std::string();
}

}  // namespace

FirstLook first_look(const std::vector<LearnShot>& shots, const LearnOutcome& outcome) {
  const auto counted = std::find_if(outcome.shots.begin(), outcome.shots.end(),
                                    [](const ShotOutcome& shot) { return shot.left_out.empty(); });
  if (counted == outcome.shots.end()) return {};
  const auto shot = std::find_if(shots.begin(), shots.end(),
                                 [&](const LearnShot& one) { return one.name == counted->name; });
  if (shot == shots.end()) return {};
  const std::vector<Frame> frames = frames_as_learned(*shot, outcome.rig_template.mirrored);
  if (frames.empty()) return {};
  const Image& first = frames.front().image;
  const Rig rig = outcome.rig_template.rig().scaled_to(first.width(), first.height());
  const auto transfer = TransferCurve::of(first);
  const auto panorama = render_panorama(rig, frames, {.width_px = kPanorama_px});
  if (!transfer || !panorama) return {};
  FirstLook look{.shot = shot->name, .panorama = jpeg_of(panorama->image)};
  look.if_mirrored =
      fmt::format("learn again {} --mirrored", outcome.rig_template.mirrored ? "without" : "with");
  look.if_not_upright = fmt::format(
      "learn again with --turns and the quarter turns, clockwise, that set each lens' frame "
      "upright, "
      "such as --turns {}",
      fmt::join(std::vector<int>(frames.size(), 1), " "));
  const GainMatch gains = match_gains(rig, frames, *transfer);
  for (std::size_t lens = 0; lens < frames.size(); ++lens) {
    look.lenses.push_back(look_along(rig, frames, gains, lens));
  }
  return look;
}

}  // namespace seamwright
