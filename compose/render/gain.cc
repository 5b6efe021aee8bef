#include "compose/render/gain.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>

#include "base/median.h"
#include "base/parallel.h"
#include "imaging/clipping.h"
#include "projection/dense_algebra.h"
#include "projection/ribbon.h"
#include "sampling/lens_reader.h"

namespace seamwright {

namespace {

constexpr double kPatch_rad = rad_from_deg(2);
constexpr int kSamplesPerSide = 6;
constexpr double kDarkLight = 0.002;  // of the darkest channel's mean; noise rules below
constexpr double kRimMargin_rad = rad_from_deg(1);

using Light = std::array<double, 3>;

// True where the brightest channel of some sample may be clipped.
bool clips(const LensReader& lens, const RunColours& code, std::size_t count) {
  const auto too_bright = [count](const RunPlane& plane) {
    return std::any_of(plane.begin(), plane.begin() + static_cast<std::ptrdiff_t>(count),
                       [](float value) { return value > clipping::kNotCompared; });
  };
  return lens.shader.clips() &&
         std::any_of(code.begin(), code.begin() + lens.shader.colours(), too_bright);
}

// Mean light of one patch; empty where any sample is unusable.
std::optional<Light> patch_light(const LensReader& lens, const RibbonGrid& grid, int x, int y) {
  SourceRun run;
  for (int j = 0; j < kSamplesPerSide; ++j) {
    for (int i = 0; i < kSamplesPerSide; ++i) {
      const Vec3 direction =
          grid.direction({x + (i + 0.5) / kSamplesPerSide, y + (j + 0.5) / kSamplesPerSide});
      if (lens.map.margin_rad(direction) < kRimMargin_rad) return std::nullopt;
      const auto px = lens.map.source_px(direction);
      if (!px) return std::nullopt;
      if (run.count == 0) run.anchor(*px);
      run.set(run.count++, *px);
    }
  }
  RunColours light;
  RunColours code;
  lens.shader.light(run, {}, light, code);
  if (clips(lens, code, run.count)) return std::nullopt;
  Light mean{};
  for (std::size_t c = 0; c < static_cast<std::size_t>(lens.shader.colours()); ++c) {
    for (std::size_t k = 0; k < run.count; ++k) mean[c] += static_cast<double>(light[c][k]);
    mean[c] /= static_cast<double>(run.count);
    if (mean[c] < kDarkLight) return std::nullopt;
  }
  return mean;
}

PairGain compare_pair(const PairOverlap& overlap, const LensReader& a, const LensReader& b) {
  const RibbonGrid& grid = overlap.grid;
  std::vector<std::vector<ChannelGains>> rows(static_cast<std::size_t>(grid.height_px));
  parallel_for(0, grid.height_px, [&](int y) {
    for (int x = 0; x < grid.width_px; ++x) {
      const auto light_a = patch_light(a, grid, x, y);
      if (!light_a) continue;
      const auto light_b = patch_light(b, grid, x, y);
      if (!light_b) continue;
      ChannelGains ratio{};
      for (int c = 0; c < a.shader.colours(); ++c) {
        const auto i = static_cast<std::size_t>(c);
        ratio[i] = std::log2((*light_b)[i] / (*light_a)[i]);
      }
      rows[static_cast<std::size_t>(y)].push_back(ratio);
    }
  });
  PairGain pair{.lens_a = overlap.lens_a, .lens_b = overlap.lens_b};
  for (const auto& row : rows) pair.patches += static_cast<int>(row.size());
  if (pair.patches == 0) return pair;
  for (std::size_t c = 0; c < 3; ++c) {
    std::vector<double> values;
    for (const auto& row : rows) {
      for (const ChannelGains& ratio : row) values.push_back(ratio[c]);
    }
    pair.ratio_ev[c] = median(values);
    for (double& value : values) value = std::abs(value - pair.ratio_ev[c]);
    pair.spread_ev[c] = 1.4826 * median(std::move(values));
  }
  return pair;
}

// Minimum-norm least squares: within each connected group of lenses the log gains sum to 0.
void fit_gains(GainMatch& match) {
  const auto lenses = static_cast<Eigen::Index>(match.gains.size());
  std::vector<const PairGain*> usable;
  for (const PairGain& pair : match.pairs) {
    if (pair.patches >= kMinGainPatches) usable.push_back(&pair);
  }
  match.complete = usable.size() == match.pairs.size() && !usable.empty();
  if (usable.empty()) return;
  Eigen::MatrixXd differences =
      Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(usable.size()), lenses);
  Eigen::MatrixXd targets(static_cast<Eigen::Index>(usable.size()), 3);
  for (std::size_t row = 0; row < usable.size(); ++row) {
    const auto r = static_cast<Eigen::Index>(row);
    const PairGain& pair = *usable[row];
    const double weight = std::sqrt(static_cast<double>(pair.patches));
    differences(r, pair.lens_a) = weight;
    differences(r, pair.lens_b) = -weight;
    for (int c = 0; c < 3; ++c) {
      targets(r, c) = weight * pair.ratio_ev[static_cast<std::size_t>(c)];
    }
  }
  const Eigen::MatrixXd gains_ev = solve_least_norm(differences, targets);
  for (Eigen::Index lens = 0; lens < lenses; ++lens) {
    for (int c = 0; c < 3; ++c) {
      match.gains[static_cast<std::size_t>(lens)][static_cast<std::size_t>(c)] =
          std::exp2(gains_ev(lens, c));
    }
  }
}

}  // namespace

GainMatch unit_gains(int lens_count) {
  GainMatch match;
  match.gains.assign(static_cast<std::size_t>(lens_count), {1.0, 1.0, 1.0});
  return match;
}

GainMatch match_gains(const Rig& rig, std::span<const Frame> frames,
                      const TransferCurve& transfer) {
  GainMatch match = unit_gains(rig.lens_count());
  std::vector<std::unique_ptr<LensReader>> lenses;
  for (std::size_t i = 0; i < rig.lenses.size(); ++i) {
    lenses.push_back(std::make_unique<LensReader>(rig.lenses[i], frames[i].image, transfer));
  }
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) {
      const auto overlap = overlap_of(rig, a, b, 1.0 / kPatch_rad, kRimMargin_rad);
      if (!overlap) continue;
      match.pairs.push_back(compare_pair(*overlap, *lenses[static_cast<std::size_t>(a)],
                                         *lenses[static_cast<std::size_t>(b)]));
    }
  }
  fit_gains(match);
  return match;
}

}  // namespace seamwright
