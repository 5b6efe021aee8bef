#include "jobs/learning/colour_pass.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <iterator>

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

// Which sights lie in which frame.
struct SightRef {
  std::size_t tie = 0;
  std::size_t sight = 0;
};

class ColourPass {
 public:
  ColourPass(Rig& rig, std::span<const int> shots, std::span<const Tie> ties,
             const ColourOptions& options)
      : rig_(rig), shots_(shots), ties_(ties), options_(options) {
    fringes_.resize(rig.lenses.size());
    points_.resize(ties.size());
    shot_count_ = shots.empty() ? 0 : 1 + *std::max_element(shots.begin(), shots.end());
    places_.resize(static_cast<std::size_t>(shot_count_) * rig.lenses.size());
    for (std::size_t tie = 0; options.photometry && tie < ties.size(); ++tie) {
      for (std::size_t sight = 0; sight < ties[tie].sights.size(); ++sight) {
        const TieSight& seen = ties[tie].sights[sight];
        const int shot = ties[tie].shot_of(seen);
        if (shot < shot_count_) places_[frame_index(shot, seen.lens)].push_back({tie, sight});
      }
    }
  }

  Result<ColourOutcome> run(const FrameSource& load, const ProgressFn& progress) {
    for (std::size_t i = 0; i < shots_.size(); ++i) {
      const bool fringes = options_.fringes && chosen(i, shots_.size(), options_.fringe_shots);
      if (!fringes && !options_.photometry) continue;
      if (!tell(progress, "measuring colours",
                static_cast<double>(i) / static_cast<double>(shots_.size()))) {
        return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
      }
      const auto frames = load(shots_[i]);
      if (!frames) return fail(frames.error());
      assert(frames->size() == rig_.lenses.size());
      for (std::size_t lens = 0; lens < frames->size(); ++lens) {
        const auto planes = light_planes_of((*frames)[lens]);
        if (!planes) return fail(planes.error());
        measure(*planes, shots_[i], static_cast<int>(lens), fringes);
      }
    }
    if (options_.fringes) fit_fringes();
    if (options_.photometry) fit_light();
    return std::move(outcome_);
  }

 private:
  [[nodiscard]] std::size_t frame_index(int shot, int lens) const {
    return static_cast<std::size_t>(shot) * rig_.lenses.size() + static_cast<std::size_t>(lens);
  }

  void measure(const LightPlanes& planes, int shot, int lens, bool fringes) {
    const Lens& model = rig_.lenses[static_cast<std::size_t>(lens)].lens;
    if (fringes && planes.colours.size() >= 3) {
      coloured_ = true;
      const FringeSamples found = measure_fringes(planes, model, options_.fringe);
      FringeSamples& all = fringes_[static_cast<std::size_t>(lens)];
      append(all.red, found.red);
      append(all.blue, found.blue);
    }
    for (const SightRef& place : places_[frame_index(shot, lens)]) {
      const Vec2& px = ties_[place.tie].sights[place.sight].px;
      auto light = measure_light(planes, model, px, options_.photometric);
      if (!light) continue;
      light->shot = shot;
      light->lens = lens;
      points_[place.tie].push_back(*light);
    }
  }

  void fit_fringes() {
    if (!coloured_) return;  // grey frames have none
    for (std::size_t lens = 0; lens < fringes_.size(); ++lens) {
      Lens& model = rig_.lenses[lens].lens;
      const double rim_px = model.rim_radius_px();
      const LensFringes fits{fit_fringe(fringes_[lens].red, rim_px, options_.fringe),
                             fit_fringe(fringes_[lens].blue, rim_px, options_.fringe)};
      take_fringe(fits.red, fmt::format("lens {}: red", lens), model.red);
      take_fringe(fits.blue, fmt::format("lens {}: blue", lens), model.blue);
      outcome_.fringes.push_back(fits);
    }
  }

  // Keeps what is there when the patches say nothing.
  void take_fringe(const FringeFit& fit, const std::string& what, FringeTerms& terms) {
    if (fit.patches >= options_.fringe.minimum_patches) {
      terms = fit.terms;
      return;
    }
    outcome_.notes.push_back(
        fmt::format("{} fringe not measured: {} textured patches, {} are needed", what, fit.patches,
                    options_.fringe.minimum_patches));
  }

  void fit_light() {
    // Ties with fewer than two measured sights tell nothing; the fit counts the others.
    std::vector<LightPoint> usable;
    std::copy_if(std::make_move_iterator(points_.begin()), std::make_move_iterator(points_.end()),
                 std::back_inserter(usable),
                 [](const LightPoint& point) { return point.size() >= 2; });
    outcome_.photometry = fit_photometry(usable, shot_count_, rig_, options_.photometric);
    bool learned = true;
    for (std::size_t lens = 0; lens < rig_.lenses.size(); ++lens) {
      const LensPhotometry& found = outcome_.photometry.lenses[lens];
      rig_.lenses[lens].lens.vignetting = found.vignetting;
      learned = learned && found.learned;
    }
    if (learned) return;
    outcome_.notes.emplace_back(
        "vignetting not learned: too few points are seen at different distances from a lens' "
        "centre; give several stands of one room");
  }

  Rig& rig_;
  std::span<const int> shots_;
  std::span<const Tie> ties_;
  const ColourOptions& options_;
  int shot_count_ = 0;
  std::vector<std::vector<SightRef>> places_;  // one a frame
  std::vector<FringeSamples> fringes_;         // one a lens
  std::vector<LightPoint> points_;             // one a tie
  bool coloured_ = false;
  ColourOutcome outcome_;
};

}  // namespace

Result<ColourOutcome> learn_colour(Rig& rig, std::span<const int> shots, std::span<const Tie> ties,
                                   const FrameSource& load, const ColourOptions& options,
                                   const ProgressFn& progress) {
  return ColourPass(rig, shots, ties, options).run(load, progress);
}

}  // namespace seamwright
