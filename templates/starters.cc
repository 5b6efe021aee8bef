#include "templates/starters.h"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "templates/rig_template.h"
#include "templates/template_keys.h"
#include "templates/yaml_tree.h"

namespace seamwright {

namespace {

/// The starter's square frames, made `width_px` × `height_px` with the circle in the middle and its
/// rim at the shorter side's edge.
Lens fitted(const Lens& square, int width_px, int height_px) {
  const int shorter = std::min(width_px, height_px);
  Lens lens = square.scaled_to(shorter, shorter);
  lens.width_px = width_px;
  lens.height_px = height_px;
  lens.terms[kCentreU] = width_px / 2.0;
  lens.terms[kCentreV] = height_px / 2.0;
  return lens;
}

}  // namespace

std::vector<std::string> starter_names() {
  std::vector<std::string> names;
  for (const StarterText& starter : kStarterTexts) names.emplace_back(starter.name);
  return names;
}

Result<RigTemplate> starter_template(std::string_view name, int width_px, int height_px) {
  const auto starter = std::find_if(kStarterTexts.begin(), kStarterTexts.end(),
                                    [&](const StarterText& text) { return text.name == name; });
  if (starter == kStarterTexts.end()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "starter",
                 .what = fmt::format("{} is not known", shown(name)),
                 .remedy = fmt::format("choose one of {}", fmt::join(starter_names(), ", "))});
  }
  if (width_px < 1 || height_px < 1 || width_px > kFrameLimit_px || height_px > kFrameLimit_px) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "frame size",
                 .what = fmt::format("{} x {} is not a frame size", width_px, height_px),
                 .remedy = "give the width and height of one lens' frame in pixels"});
  }
  Result<RigTemplate> value = parse_template(starter->yaml, fmt::format("starter {}", name));
  if (!value) return value;
  for (MountedLens& mounted : value->solution.rig.lenses) {
    mounted.lens = fitted(mounted.lens, width_px, height_px);
  }
  return value;
}

}  // namespace seamwright
