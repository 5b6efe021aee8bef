#include "jobs/restitch/template_choice.h"

#include <fmt/format.h>

#include "imaging/metadata.h"
#include "jobs/shot/body_files.h"
#include "jobs/shot/ring_check.h"

namespace seamwright {

namespace {

bool may_hold(const Rig& rig, const ShotFiles& shot) {
  return shot.intake.layout != FrameLayout::one_per_file ||
         static_cast<int>(shot.frames.size()) == rig.lens_count();
}

Result<RingCheck> ring_of(const ShotFiles& shot, const RigTemplate& body) {
  ShotFiles files = shot;
  take_body_files(files, body);
  const auto frames = read_shot(files.frames, files.intake);
  if (!frames) return tl::unexpected(frames.error());
  return check_ring(body, *frames);
}

}  // namespace

Result<std::optional<double>> ring_misfit_px(const ShotFiles& shot, const RigTemplate& body) {
  if (!may_hold(body.rig(), shot)) return std::optional<double>();
  const auto ring = ring_of(shot, body);
  if (!ring) return tl::unexpected(ring.error());
  return ring->readable ? std::optional<double>(ring->p95_px) : std::nullopt;
}

// Null where the frames name no body, or none or several of the templates are of it.
const BodyTemplate* TemplateChoice::by_serial(const ShotFiles& shot) const {
  if (shot.frames.empty()) return nullptr;
  const auto info = read_frame_info(shot.frames.front());
  if (!info || !info->body_serial) return nullptr;
  const BodyTemplate* only = nullptr;
  for (const BodyTemplate& one : templates_) {
    if (!has_serial(one.rig_template, *info->body_serial)) continue;
    if (only != nullptr) return nullptr;
    only = &one;
  }
  return only;
}

Result<const BodyTemplate*> TemplateChoice::of(const ShotFiles& shot) const {
  if (templates_.size() == 1) return &templates_.front();
  if (const BodyTemplate* named = by_serial(shot)) return named;
  const BodyTemplate* best = nullptr;
  double least_px = kMostRingMisfit_px;
  for (const BodyTemplate& one : templates_) {
    const auto misfit_px = ring_misfit_px(shot, one.rig_template);
    // Frames of another shape are another body's; frames that cannot be read are nobody's.
    if (!misfit_px && misfit_px.error().kind == ErrorKind::io) {
      return tl::unexpected(misfit_px.error());
    }
    if (!misfit_px || !*misfit_px || **misfit_px >= least_px) continue;
    least_px = **misfit_px;
    best = &one;
  }
  if (best != nullptr) return best;
  return fail({.kind = ErrorKind::user_input,
               .where = shot.name,
               .field = "template",
               .what = fmt::format("none of the {} fits this shot", templates_.size()),
               .remedy = "give the template of its body as well, or leave the shot out"});
}

}  // namespace seamwright
