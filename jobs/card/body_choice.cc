#include "jobs/card/body_choice.h"

#include <algorithm>

#include "jobs/restitch/template_choice.h"
#include "jobs/shot/body_files.h"

namespace seamwright {

namespace {

// How far these shots are off under a template, the median; nothing where no ring can be read.
std::optional<double> usual_misfit_px(const std::vector<ShotFiles>& shots,
                                      const RigTemplate& body) {
  std::vector<double> misfits;
  for (const ShotFiles& shot : shots) {
    const auto misfit = ring_misfit_px(shot, body);
    if (misfit && *misfit) misfits.push_back(**misfit);
  }
  if (misfits.empty()) return std::nullopt;
  const auto middle = misfits.begin() + static_cast<std::ptrdiff_t>(misfits.size() / 2);
  std::nth_element(misfits.begin(), middle, misfits.end());
  return *middle;
}

}  // namespace

ChosenTemplate template_by_serial(const std::optional<std::string>& serial,
                                  const std::vector<BodyTemplate>& templates) {
  ChosenTemplate chosen;
  if (!serial) return chosen;
  for (std::size_t i = 0; i < templates.size(); ++i) {
    if (!has_serial(templates[i].rig_template, *serial)) continue;
    if (chosen.index) return {};
    chosen = {.index = i, .by = ChosenTemplate::By::serial};
  }
  return chosen;
}

ChosenTemplate template_by_ties(const std::vector<ShotFiles>& shots,
                                const std::vector<BodyTemplate>& templates) {
  ChosenTemplate chosen;
  double least_px = kMostRingMisfit_px;
  bool readable = false;
  for (std::size_t i = 0; i < templates.size(); ++i) {
    const auto misfit_px = usual_misfit_px(shots, templates[i].rig_template);
    readable = readable || misfit_px;
    if (!misfit_px || *misfit_px >= least_px) continue;
    least_px = *misfit_px;
    chosen = {.index = i, .by = ChosenTemplate::By::ties};
  }
  if (!readable && templates.size() == 1) return {.index = 0, .by = ChosenTemplate::By::only};
  return chosen;
}

}  // namespace seamwright
