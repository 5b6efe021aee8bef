#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/shot/open_shot.h"

namespace seamwright {

/// More than this, P95 of the ring, is no flex of a body.
inline constexpr double kMostRingMisfit_px = 6;

/// How far a shot's ring is off under a template, P95; nothing where it shows too little to tell.
/// Fails on frames that cannot be read and on such as cannot be of this body.
[[nodiscard]] Result<std::optional<double>> ring_misfit_px(const ShotFiles& shot,
                                                           const RigTemplate& body);

/// Which of several templates a shot was taken with, by what its frames say.
class TemplateChoice {
 public:
  explicit TemplateChoice(std::vector<BodyTemplate> templates) : templates_(std::move(templates)) {}

  [[nodiscard]] const std::vector<BodyTemplate>& templates() const { return templates_; }

  /// The one template that is of the serial number in the frames' EXIF (has_serial()); a lone
  /// template without looking; else the one whose lenses the shot's ring fits best. Fails where
  /// none fits to 6 px, P95 of the ring: more is no flex of a body.
  [[nodiscard]] Result<const BodyTemplate*> of(const ShotFiles& shot) const;

 private:
  [[nodiscard]] const BodyTemplate* by_serial(const ShotFiles& shot) const;

  std::vector<BodyTemplate> templates_;
};

}  // namespace seamwright
