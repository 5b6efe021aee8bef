#pragma once

#include <string>
#include <vector>

#include "base/result.h"
#include "cli/check_inputs.h"
#include "templates/rig_template.h"

namespace seamwright {

/// A template and the file it stands in.
struct NamedTemplate {
  std::string file;
  RigTemplate rig_template;
};

/// Which of several templates a shot was taken with, by what its frames say.
class TemplateChoice {
 public:
  explicit TemplateChoice(std::vector<NamedTemplate> templates)
      : templates_(std::move(templates)) {}

  /// The file of the template whose lenses the shot's ring fits best; a lone template without
  /// looking. Fails where none fits to 6 px, P95 of the ring: more is no flex of a body.
  [[nodiscard]] Result<std::string> of(const CheckInput& shot) const;

 private:
  std::vector<NamedTemplate> templates_;
};

}  // namespace seamwright
