#include "jobs/check/light_check.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <utility>

#include "base/median.h"
#include "features/light_planes.h"
#include "imaging/delta_e2000.h"
#include "imaging/transfer.h"
#include "jobs/learning/photometric.h"
#include "projection/ribbon.h"

namespace seamwright {

namespace {

constexpr double kSector_rad = rad_from_deg(30);
constexpr std::size_t kFewestInSector = 6;
constexpr int kPatchReach_px = 8;
constexpr double kLeastTexture = 0.08;  // deviation over mean
constexpr std::size_t kFewestOfBlur = 20;

double clipped_share(const LightPlanes& planes, const Lens& lens) {
  const double rim_px = lens.rim_radius_px();
  std::int64_t inside = 0, lost = 0;
  for (int y = 0; y < planes.height(); ++y) {
    for (int x = 0; x < planes.width(); ++x) {
      if ((Vec2(x + 0.5, y + 0.5) - lens.centre_px()).norm() > rim_px) continue;
      ++inside;
      lost += planes.lost[static_cast<std::size_t>(y) * static_cast<std::size_t>(planes.width()) +
                          static_cast<std::size_t>(x)];
    }
  }
  return inside > 0 ? static_cast<double>(lost) / static_cast<double>(inside) : 0;
}

/// Share of a patch's variance that is finer than 3 px; nothing without texture or where clipped.
std::optional<double> sharpness(const LightPlanes& planes, const Vec2& px) {
  if (!planes.whole(px, kPatchReach_px + 1)) return std::nullopt;
  const Image& plane = planes.colours[planes.colours.size() > 1 ? 1 : 0];
  const int u = static_cast<int>(px.x()), v = static_cast<int>(px.y());
  double sum = 0, square = 0, fine = 0;
  int count = 0;
  for (int y = v - kPatchReach_px; y <= v + kPatchReach_px; ++y) {
    const std::array rows = {plane.row<float>(y - 1), plane.row<float>(y), plane.row<float>(y + 1)};
    for (int x = u - kPatchReach_px; x <= u + kPatchReach_px; ++x) {
      double around = 0;
      for (const auto& row : rows) {
        for (int i = x - 1; i <= x + 1; ++i)
          around += static_cast<double>(row[static_cast<std::size_t>(i)]);
      }
      const auto here = static_cast<double>(rows[1][static_cast<std::size_t>(x)]);
      sum += here;
      square += here * here;
      fine += (here - around / 9) * (here - around / 9);
      ++count;
    }
  }
  const double mean = sum / count;
  const double variance = square / count - mean * mean;
  if (!(mean > 0) || variance < std::pow(kLeastTexture * mean, 2)) return std::nullopt;
  return fine / count / variance;
}

/// How a middle grey of light 0.18 looks when its channels are off by these factors.
double grey_step(const std::array<double, 3>& ratio_ev) {
  constexpr double kGrey = 0.18;
  std::array<double, 3> first{}, second{};
  for (std::size_t c = 0; c < 3; ++c) {
    first[c] = kGrey * std::exp2(0.5 * ratio_ev[c]);
    second[c] = kGrey * std::exp2(-0.5 * ratio_ev[c]);
  }
  return delta_e2000(lab_from_linear_srgb(first), lab_from_linear_srgb(second));
}

class Comparison {
 public:
  Comparison(const Rig& rig, const std::vector<LightPlanes>& planes, const GainMatch& gains)
      : rig_(rig), planes_(planes), gains_(gains) {}

  void add(const Tie& tie, const TieDetail& detail) {
    const TieSight* a = sight_of(tie, detail.lens_a);
    const TieSight* b = sight_of(tie, detail.lens_b);
    if (a == nullptr || b == nullptr || detail.edge) return;
    const auto light_a = light_of(*a), light_b = light_of(*b);
    if (light_a && light_b) {
      Sector& sector = sectors_[key_of(detail)];
      for (std::size_t c = 0; c < 3; ++c) {
        sector.ratio_ev[c].push_back(std::log2((*light_b)[c] / (*light_a)[c]));
      }
      sector.eta_rad.push_back(detail.eta_rad);
    }
    const auto sharp_a = sharpness(planes_of(*a), a->px), sharp_b = sharpness(planes_of(*b), b->px);
    if (sharp_a && sharp_b) {
      blur_[{detail.lens_a, detail.lens_b}].push_back(0.5 * std::log2(*sharp_a / *sharp_b));
    }
  }

  [[nodiscard]] std::vector<ColourStep> steps() const {
    std::vector<ColourStep> steps;
    for (const auto& [key, sector] : sectors_) {
      if (sector.eta_rad.size() < kFewestInSector) continue;
      const auto& [lens_a, lens_b, index] = key;
      std::array<double, 3> ratio_ev{};
      for (std::size_t c = 0; c < 3; ++c) ratio_ev[c] = median(sector.ratio_ev[c]);
      const double psi_rad = (index + 0.5) * kSector_rad;
      const RibbonAxes axes = RibbonAxes::of_pair(rig_, lens_a, lens_b);
      steps.push_back({.lens_a = lens_a,
                       .lens_b = lens_b,
                       .psi_rad = psi_rad,
                       .direction = axes.direction({psi_rad, median(sector.eta_rad)}),
                       .delta_e = grey_step(ratio_ev),
                       .ties = static_cast<int>(sector.eta_rad.size())});
    }
    return steps;
  }

  [[nodiscard]] std::vector<PairBlur> blur() const {
    std::vector<PairBlur> result;
    for (const auto& [pair, octaves] : blur_) {
      if (octaves.size() < kFewestOfBlur) continue;
      result.push_back(
          {pair.first, pair.second, median(octaves), static_cast<int>(octaves.size())});
    }
    return result;
  }

 private:
  struct Sector {
    std::array<std::vector<double>, 3> ratio_ev;
    std::vector<double> eta_rad;
  };
  using Key = std::tuple<int, int, int>;  // lens a, lens b, sector

  static Key key_of(const TieDetail& detail) {
    return {detail.lens_a, detail.lens_b,
            static_cast<int>(std::floor(detail.psi_rad / kSector_rad))};
  }
  static const TieSight* sight_of(const Tie& tie, int lens) {
    for (const TieSight& sight : tie.sights) {
      if (sight.lens == lens) return &sight;
    }
    return nullptr;
  }
  const LightPlanes& planes_of(const TieSight& sight) const {
    return planes_[static_cast<std::size_t>(sight.lens)];
  }
  // As the panorama will show it.
  std::optional<std::array<double, 3>> light_of(const TieSight& sight) const {
    const auto index = static_cast<std::size_t>(sight.lens);
    const Lens& lens = rig_.lenses[index].lens;
    const auto measured = measure_light(planes_[index], lens, sight.px);
    if (!measured) return std::nullopt;
    std::array<double, 3> light = measured->light;
    for (std::size_t c = 0; c < 3; ++c) {
      light[c] *= gains_.gains[index][c] / lens.vignetting.gain(measured->r_hat);
    }
    return light;
  }

  const Rig& rig_;
  const std::vector<LightPlanes>& planes_;
  const GainMatch& gains_;
  std::map<Key, Sector> sectors_;
  std::map<std::pair<int, int>, std::vector<double>> blur_;
};

}  // namespace

Result<LightCheck> check_light(const Rig& rig, std::span<const Frame> frames, const TieSet& ties) {
  std::vector<LightPlanes> planes;
  LightCheck light;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    auto plane = light_planes_of(frames[i].image);
    if (!plane) return tl::unexpected(plane.error());
    planes.push_back(std::move(*plane));
    light.clipped_share.push_back(clipped_share(planes.back(), rig.lenses[i].lens));
  }
  const auto curve = TransferCurve::of(frames.front().image);
  if (!curve) return tl::unexpected(curve.error());
  const GainMatch gains = match_gains(rig, frames, *curve);
  Comparison comparison(rig, planes, gains);
  for (std::size_t i = 0; i < ties.ties.size(); ++i) comparison.add(ties.ties[i], ties.details[i]);
  light.steps = comparison.steps();
  light.blur = comparison.blur();
  return light;
}

}  // namespace seamwright
