#include "cli/template_choice.h"

#include <fmt/format.h>

#include "check/ring_check.h"

namespace seamwright {

namespace {

constexpr double kMostMisfit_px = 6;

bool may_hold(const Rig& rig, const CheckInput& shot) {
  return shot.intake.layout != FrameLayout::one_per_file ||
         static_cast<int>(shot.frames.size()) == rig.lens_count();
}

Result<RingCheck> ring_of(const CheckInput& shot, const RigTemplate& body) {
  FrameIntake intake = shot.intake;
  intake.mirrored = intake.mirrored || body.mirrored;
  const auto frames = read_shot(shot.frames, intake);
  if (!frames) return tl::unexpected(frames.error());
  std::vector<Image> images;
  for (const Frame& frame : *frames) images.push_back(frame.image);
  return check_ring(body, images);
}

}  // namespace

Result<std::string> TemplateChoice::of(const CheckInput& shot) const {
  if (templates_.size() == 1) return templates_.front().file;
  const NamedTemplate* best = nullptr;
  double least_px = kMostMisfit_px;
  for (const NamedTemplate& one : templates_) {
    if (!may_hold(one.rig_template.rig(), shot)) continue;
    const auto ring = ring_of(shot, one.rig_template);
    // Frames of another shape are another body's; frames that cannot be read are nobody's.
    if (!ring && ring.error().kind == ErrorKind::io) return tl::unexpected(ring.error());
    if (!ring || !ring->readable || ring->p95_px >= least_px) continue;
    least_px = ring->p95_px;
    best = &one;
  }
  if (best != nullptr) return best->file;
  return fail({.kind = ErrorKind::user_input,
               .where = shot.name,
               .field = "--template",
               .what = fmt::format("none of the {} fits this shot", templates_.size()),
               .remedy = "give the template of its body as well, or leave the shot out"});
}

}  // namespace seamwright
