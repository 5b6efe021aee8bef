#include "learning/colour_pass.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include <fmt/format.h>

namespace seamwright {

namespace {

// True for at most `wanted` of `count` places, evenly spread.
bool chosen(std::size_t place, std::size_t count, int wanted) {
  const auto share = static_cast<std::size_t>(std::max(wanted, 0));
  return count <= share || (place + 1) * share / count != place * share / count;
}

void append(std::vector<FringeSample>& to, const std::vector<FringeSample>& from) {
  to.insert(to.end(), from.begin(), from.end());
}

// Keeps what is there when the patches say nothing.
void take_fringe(const FringeFit& fit, const FringeOptions& options, const std::string& what,
                 FringeTerms& terms, std::vector<std::string>& notes) {
  if (fit.patches >= options.minimum_patches) {
    terms = fit.terms;
    return;
  }
  notes.push_back(fmt::format("{} fringe not measured: {} patches, {} are needed; kept as it was",
                              what, fit.patches, options.minimum_patches));
}

}  // namespace

Result<ColourOutcome> learn_colour(Rig& rig, std::span<const int> shots, const FrameLoader& load,
                                   const ColourOptions& options, const ProgressFn& progress) {
  ColourOutcome outcome;
  if (!options.fringes || shots.empty()) return outcome;
  std::vector<FringeSamples> samples(rig.lenses.size());
  bool coloured = false;
  for (std::size_t i = 0; i < shots.size(); ++i) {
    if (!chosen(i, shots.size(), options.fringe_shots)) continue;
    if (!tell(progress, "measuring colours",
              static_cast<double>(i) / static_cast<double>(shots.size()))) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
    }
    const auto frames = load(shots[i]);
    if (!frames) return fail(frames.error());
    assert(frames->size() == rig.lenses.size());
    for (std::size_t lens = 0; lens < frames->size(); ++lens) {
      const auto planes = light_planes_of((*frames)[lens]);
      if (!planes) return fail(planes.error());
      coloured = coloured || planes->colours.size() >= 3;
      const FringeSamples found = measure_fringes(*planes, rig.lenses[lens].lens, options.fringe);
      append(samples[lens].red, found.red);
      append(samples[lens].blue, found.blue);
    }
  }
  if (!coloured) return outcome;  // grey frames have no fringes
  for (std::size_t lens = 0; lens < samples.size(); ++lens) {
    Lens& model = rig.lenses[lens].lens;
    const double rim_px = model.rim_radius_px();
    LensFringes fringes{fit_fringe(samples[lens].red, rim_px, options.fringe),
                        fit_fringe(samples[lens].blue, rim_px, options.fringe)};
    take_fringe(fringes.red, options.fringe, fmt::format("lens {}: red", lens), model.red,
                outcome.notes);
    take_fringe(fringes.blue, options.fringe, fmt::format("lens {}: blue", lens), model.blue,
                outcome.notes);
    outcome.fringes.push_back(fringes);
  }
  return outcome;
}

}  // namespace seamwright
