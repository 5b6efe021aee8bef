#include "tests/support/seam_truth.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <stdexcept>

#include "base/parallel.h"
#include "compose/seams/baseline_view.h"

namespace seamwright::test {

namespace {

constexpr double kFar_m = 1e6;

std::optional<Vec2> project(const MountedLens& lens, const Vec3& point) {
  return lens.project_point(point.normalized(), 1 / point.norm());
}

class Looker {
 public:
  Looker(const PairSeam& pair, const SeamTruth& truth, bool warped)
      : pair_(pair), truth_(truth), warped_(warped) {}

  [[nodiscard]] std::optional<SeamMiss> at(int x, double row) const {
    const auto y = static_cast<int>(std::floor(row));
    if (y < 0 || y >= grid().height_px) return std::nullopt;
    const auto a = static_cast<std::size_t>(pair_.lens_a);
    const auto b = static_cast<std::size_t>(pair_.lens_b);
    const auto px_a = reads(a, pair_.warp.shift_a_rad, x, y);
    const auto px_b = reads(b, pair_.warp.shift_b_rad, x, y);
    if (!px_a || !px_b) return std::nullopt;
    const MountedLens& real_a = truth_.real.lenses[a];
    const MountedLens& real_b = truth_.real.lenses[b];
    const auto ray = real_a.direction_in_rig(*px_a);
    if (!ray) return std::nullopt;
    const Vec3 origin = real_a.ray_origin_in_rig(*ray);
    const double distance = std::min(kFar_m, truth_.scene.distance_m(truth_.shot, origin, *ray));
    const Vec3 point = origin + distance * *ray;
    const auto wanted = project(real_b, point);
    if (!wanted || hidden(real_b, point)) return std::nullopt;
    const auto shown_at = real_b.direction_in_rig(*px_b);
    const auto wanted_at = real_b.direction_in_rig(*wanted);
    if (!shown_at || !wanted_at) return std::nullopt;
    const RibbonAngles shown = grid().axes.angles(*shown_at);
    const RibbonAngles due = grid().axes.angles(*wanted_at);
    const double turn = std::remainder(shown.psi_rad - due.psi_rad, 2 * kPi);
    return SeamMiss{.psi_rad = grid().psi_begin_rad + (x + 0.5) / grid().px_per_rad,
                    .parallax_px = truth_.panorama_px_per_rad * (shown.eta_rad - due.eta_rad),
                    .sideways_px = truth_.panorama_px_per_rad * turn * std::sin(due.eta_rad),
                    .distance_m = distance,
                    .contrast = contrast(x, y)};
  }

 private:
  [[nodiscard]] const RibbonGrid& grid() const { return pair_.warp.grid; }

  [[nodiscard]] std::optional<Vec2> reads(std::size_t lens, const Image& shift, int x,
                                          int y) const {
    const double moved = warped_ ? shift.row<float>(y)[static_cast<std::size_t>(x)] : 0.0F;
    const RibbonAngles angles{grid().psi_begin_rad + (x + 0.5) / grid().px_per_rad,
                              eta_of_row(grid(), y + 0.5) + moved};
    return truth_.used.lenses[lens].project_direction(grid().axes.direction(angles));
  }

  [[nodiscard]] double contrast(int x, int y) const {
    if (!pair_.views) return 0;
    constexpr int kReach_px = 3;
    const Image& light = pair_.views->light_a;
    double most = 0;
    for (int row = std::max(1, y - kReach_px); row <= std::min(light.height() - 2, y + kReach_px);
         ++row) {
      const double below = mean_light(light, x, row + 1);
      const double above = mean_light(light, x, row - 1);
      most = std::max(most, std::abs(below - above) / std::max(1e-3, below + above));
    }
    return most;
  }

  // Over some columns: noise is no contrast.
  [[nodiscard]] static double mean_light(const Image& light, int x, int row) {
    constexpr int kReach_px = 4;
    const int channels = light.channel_count();
    double sum = 0;
    for (int i = x - kReach_px; i <= x + kReach_px; ++i) {
      const int at = (i + light.width()) % light.width();
      sum += light.row<float>(row)[static_cast<std::size_t>(channels * at + channels / 2)];
    }
    return sum / (2 * kReach_px + 1);
  }

  // Something stands before the point, seen from the lens.
  [[nodiscard]] bool hidden(const MountedLens& lens, const Vec3& point) const {
    constexpr double kSame = 0.01;
    const Vec3 way = point - lens.ray_origin_in_rig((point - lens.pupil).normalized());
    const Vec3 direction = way.normalized();
    const double free =
        truth_.scene.distance_m(truth_.shot, lens.ray_origin_in_rig(direction), direction);
    return free < (1 - kSame) * way.norm();
  }

  const PairSeam& pair_;
  const SeamTruth& truth_;
  bool warped_;
};

}  // namespace

double SeamMiss::px() const { return std::hypot(parallax_px, sideways_px); }

std::vector<double> middle_rows(const PairSeam& pair, double off_rad) {
  const RibbonGrid& grid = pair.warp.grid;
  const double row = row_of_eta(grid, 0.5 * kPi + off_rad);
  return std::vector<double>(static_cast<std::size_t>(grid.width_px), row);
}

std::vector<SeamMiss> seam_misses(const PairSeam& pair, const SeamTruth& truth,
                                  const std::vector<double>& rows, bool warped) {
  const Looker looker(pair, truth, warped);
  std::vector<std::optional<SeamMiss>> found(rows.size());
  parallel_for(0, static_cast<int>(rows.size()), [&](int x) {
    const auto i = static_cast<std::size_t>(x);
    found[i] = looker.at(x, rows[i]);
  });
  std::vector<SeamMiss> misses;
  for (const auto& miss : found) {
    if (miss) misses.push_back(*miss);
  }
  return misses;
}

double quantile_px(const std::vector<SeamMiss>& misses, double quantile) {
  if (misses.empty()) throw std::logic_error("no place of the seam was measured");
  std::vector<double> px;
  for (const SeamMiss& miss : misses) px.push_back(miss.px());
  const auto at = px.begin() + static_cast<std::ptrdiff_t>(
                                   std::lround(quantile * static_cast<double>(px.size() - 1)));
  std::nth_element(px.begin(), at, px.end());
  return *at;
}

}  // namespace seamwright::test
