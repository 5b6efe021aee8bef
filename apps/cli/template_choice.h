#pragma once

#include <string>
#include <vector>

#include "apps/cli/check_inputs.h"
#include "base/result.h"
#include "templates/rig_template.h"

namespace seamwright {

/// A template and the file it stands in.
struct NamedTemplate {
  std::string file;
  RigTemplate rig_template;
};

/// True where a body's label holds the serial number as a word of its own: "Lantern 0117" is the
/// label of number 0117, and of no other.
[[nodiscard]] bool label_has_serial(const std::string& label, const std::string& serial);

/// Which of several templates a shot was taken with, by what its frames say.
class TemplateChoice {
 public:
  explicit TemplateChoice(std::vector<NamedTemplate> templates)
      : templates_(std::move(templates)) {}

  /// The file of the one template whose label has the serial number in the frames' EXIF; a lone
  /// template without looking; else the one whose lenses the shot's ring fits best. Fails where
  /// none fits to 6 px, P95 of the ring: more is no flex of a body.
  [[nodiscard]] Result<std::string> of(const CheckInput& shot) const;

 private:
  [[nodiscard]] const NamedTemplate* by_label(const CheckInput& shot) const;

  std::vector<NamedTemplate> templates_;
};

}  // namespace seamwright
