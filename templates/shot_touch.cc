#include <algorithm>

#include <fmt/format.h>

#include "solver/shared_terms.h"
#include "templates/shot_file.h"
#include "templates/shot_keys.h"

namespace seamwright {

Result<Rig> touched_rig(const Rig& template_rig, const ShotTouch& touch) {
  const SharedTerms terms(template_rig.lens_count(), [](int, int) { return true; });
  const std::vector<std::string> names = terms.names();
  Eigen::VectorXd step = Eigen::VectorXd::Zero(terms.columns());
  for (std::size_t i = 0; i < touch.names.size(); ++i) {
    const auto found = std::find(names.begin(), names.end(), touch.names[i]);
    if (found == names.end()) {
      return fail({.where = {},
                   .field = "touch.terms." + touch_key(touch.names[i]),
                   .what = fmt::format("is no term of a rig of {} lenses that can move",
                                       template_rig.lens_count()),
                   .remedy = "touch the shot again, with its own template"});
    }
    step[found - names.begin()] = touch.step[i];
  }
  Rig rig = terms.stepped(template_rig, step);
  if (auto error = rig.validate()) {
    error->field = "touched " + error->field;
    error->remedy = "touch the shot again, with its own template";
    return fail(std::move(*error));
  }
  return rig;
}

}  // namespace seamwright
