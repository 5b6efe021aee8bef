#include "features/track_refiner.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include <Eigen/LU>

#include "features/patch_aligner.h"
#include "features/square.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr double kMostInnerGap = 9;    // χ² (2 degrees) between a patch and its middle
constexpr double kLeastCosine = 0.25;  // of the slant in either view: flatter is not matched
constexpr double kLeastStartNcc = 0.3;
constexpr int kWalls = 6;  // upright slants, half a turn in so many steps

// The small plane that carries the patch.
class Surface {
 public:
  Surface(const ViewPoint& reference, const RelativePose& motion, double distance)
      : motion_(motion), distance_(distance), reference_(*reference.view) {
    const auto direction = reference_.mounted.direction_in_rig(reference.px);
    seen_ = direction.has_value();
    if (!seen_) return;
    towards_ = *direction;
    origin_ = reference_.mounted.ray_origin_in_rig(towards_);
    // Upright where it can be, so that patches of all sights look alike.
    const Vec3 up = std::abs(towards_.y()) < 0.98 ? Vec3::UnitY() : Vec3::UnitZ();
    right_ = up.cross(towards_).normalized();
    down_ = towards_.cross(right_);
    normal_ = towards_;
  }

  [[nodiscard]] bool seen() const { return seen_; }
  [[nodiscard]] const Vec3& towards() const { return towards_; }

  // Where the other view sees the middle from: towards the point, in the reference's frame.
  [[nodiscard]] Vec3 seen_from(const LensView& other) const {
    const Vec3 point = origin_ + distance_ * towards_;
    const Vec3 pupil = motion_.rotation.conjugate() * (other.mounted.pupil - motion_.translation);
    return (point - pupil).normalized();
  }

  void tilt(const Vec3& normal) { normal_ = normal; }

  // `q` in radians from the middle.
  [[nodiscard]] Vec3 direction(const Vec2& q) const {
    return towards_ + q.x() * right_ + q.y() * down_;
  }
  [[nodiscard]] std::optional<Vec2> in_reference(const Vec2& q) const {
    return reference_.mounted.project_direction(direction(q).normalized());
  }
  [[nodiscard]] std::optional<Vec2> in_other(const LensView& other, const Vec2& q) const {
    const Vec3 ray = direction(q);
    const double slope = normal_.dot(ray) / normal_.dot(towards_);
    if (slope < 0.2) return std::nullopt;
    const Vec3 point = origin_ + ray * (distance_ / slope);
    const Vec3 there = motion_.rotation * point + motion_.translation;
    const double far = there.norm();
    return other.mounted.project_point(there / far, 1 / far);
  }

 private:
  RelativePose motion_;
  double distance_;
  const LensView& reference_;
  bool seen_ = false;
  Vec3 towards_ = Vec3::UnitZ();
  Vec3 origin_ = Vec3::Zero();
  Vec3 right_ = Vec3::UnitX();
  Vec3 down_ = Vec3::UnitY();
  Vec3 normal_ = Vec3::UnitZ();
};

std::vector<Vec3> slants(const Vec3& towards) {
  std::vector<Vec3> normals = {towards, Vec3::UnitY()};
  for (int i = 0; i < kWalls; ++i) {
    const double azimuth = std::atan2(towards.x(), towards.z()) + kPi * i / kWalls;
    normals.emplace_back(std::sin(azimuth), 0, std::cos(azimuth));
  }
  return normals;
}

class PatchRefiner {
 public:
  PatchRefiner(const ViewPoint& reference, const ViewPoint& other, const RelativePose& motion,
               double distance, const TrackRefineOptions& options)
      : reference_(reference),
        other_(other),
        surface_(reference, motion, distance),
        options_(options) {}

  std::optional<RefinedSight> refine() {
    if (!surface_.seen() || !choose_slant()) return std::nullopt;
    std::optional<Aligned> best;
    const int levels =
        static_cast<int>(std::min(reference_.view->levels.size(), other_.view->levels.size()));
    Start start{other_.px, Mat2::Identity()};
    for (int level = levels - 1; level >= 0; --level) {
      const auto found = align(level, options_.align.window, start);
      if (!found) continue;
      start = found->end;
      if (!best || found->sight.covariance_px2.trace() < best->sight.covariance_px2.trace()) {
        best = found;
      }
    }
    if (!best || best->sight.ncc < options_.align.min_ncc || !sure(best->sight) ||
        !one_depth(*best)) {
      return std::nullopt;
    }
    return best->sight;
  }

 private:
  // The other patch: where its middle is and what is done to q before it is carried over.
  struct Start {
    Vec2 px = Vec2::Zero();
    Mat2 affine = Mat2::Identity();
  };
  struct Aligned {
    RefinedSight sight;
    Start end;
    int level = 0;
  };

  // Radians a sample, so that samples are about a pixel apart in both views.
  [[nodiscard]] std::optional<double> step_rad(double step_px, const Mat2& affine) const {
    constexpr double kSmall = 1e-3;
    const auto density = [&](auto&& px_at) -> std::optional<double> {
      const auto middle = px_at(Vec2(0, 0));
      const auto right = px_at(Vec2(kSmall, 0));
      const auto down = px_at(Vec2(0, kSmall));
      if (!middle || !right || !down) return std::nullopt;
      Mat2 j;
      j << *right - *middle, *down - *middle;
      return std::sqrt(std::abs(j.determinant())) / kSmall;
    };
    const auto here = density([&](const Vec2& q) { return surface_.in_reference(q); });
    const auto there =
        density([&](const Vec2& q) { return surface_.in_other(*other_.view, affine * q); });
    if (!here || !there || !(*here > 0) || !(*there > 0)) return std::nullopt;
    return 2 * step_px / (*here + *there);
  }

  [[nodiscard]] PatchMap::FramePx in_other(const Start& start, double step) const {
    const auto middle = surface_.in_other(*other_.view, Vec2::Zero());
    return [this, start, step, middle](const Vec2& q) -> std::optional<Vec2> {
      if (!middle) return std::nullopt;
      const auto px = surface_.in_other(*other_.view, start.affine * (step * q));
      if (!px) return std::nullopt;
      return Vec2(*px - *middle + start.px);
    };
  }

  [[nodiscard]] std::optional<Aligned> align(int level, int window, const Start& start) const {
    const SplinePlane& plane = reference_.view->levels[static_cast<std::size_t>(level)];
    const SplinePlane& plane_b = other_.view->levels[static_cast<std::size_t>(level)];
    const auto step = step_rad(plane.step(), start.affine);
    if (!step) return std::nullopt;
    RefineOptions options = options_.align;
    options.window = window;
    const int half = window / 2;  // whole samples
    const auto map_a = PatchMap::through(
        *reference_.view, level, [&](const Vec2& q) { return surface_.in_reference(*step * q); },
        half + 1);
    const auto map_b = PatchMap::through(*other_.view, level, in_other(start, *step),
                                         half + options.max_drift_px / plane.step() + 1);
    if (!map_a || !map_b) return std::nullopt;
    const PatchPrior prior{.sideways_affine = options_.affine_sigma,
                           .parallax_affine = options_.affine_sigma,
                           .a_stays = true};
    const auto outcome = PatchAligner(plane, *map_a, plane_b, *map_b, options, prior).align();
    if (!outcome) return std::nullopt;
    const Mat2 to_a = map_a->jacobian(Vec2::Zero());
    const Mat2 to_b = map_b->jacobian(outcome->shift);
    const Mat2 half_difference = 0.5 * outcome->covariance;
    const Mat2 floor = 0.5 * square(options.sigma_floor_px) * Mat2::Identity();
    Aligned aligned;
    aligned.level = level;
    aligned.sight.px = map_b->frame_px(outcome->shift);
    aligned.sight.covariance_px2 = to_b * half_difference * to_b.transpose() + floor;
    aligned.sight.reference_covariance_px2 = to_a * half_difference * to_a.transpose() + floor;
    aligned.sight.ncc = outcome->ncc;
    aligned.end = {aligned.sight.px, start.affine * (Mat2::Identity() + outcome->affine)};
    return aligned;
  }

  // The slant under which the patches look most alike. False where none does.
  [[nodiscard]] bool choose_slant() {
    const int level = static_cast<int>(other_.view->levels.size()) - 1;
    const Vec3 from_other = surface_.seen_from(*other_.view);
    double best = kLeastStartNcc;
    std::optional<Vec3> chosen;
    for (const Vec3& normal : slants(surface_.towards())) {
      const double here = normal.dot(surface_.towards());
      const double there = normal.dot(from_other);
      if (here * there < 0 || std::min(std::abs(here), std::abs(there)) < kLeastCosine) continue;
      surface_.tilt(normal);
      const double ncc = likeness(level);
      if (ncc <= best) continue;
      best = ncc;
      chosen = normal;
    }
    if (chosen) surface_.tilt(*chosen);
    return chosen.has_value();
  }

  // Correlation of both patches as they start, −1 where they cannot be read.
  [[nodiscard]] double likeness(int level) const {
    const SplinePlane& plane_a = reference_.view->levels[static_cast<std::size_t>(level)];
    const SplinePlane& plane_b = other_.view->levels[static_cast<std::size_t>(level)];
    const auto step = step_rad(plane_a.step(), Mat2::Identity());
    if (!step) return -1;
    constexpr int kHalf = 8;
    const auto map_a = PatchMap::through(
        *reference_.view, level, [&](const Vec2& q) { return surface_.in_reference(*step * q); },
        kHalf);
    const auto map_b = PatchMap::through(*other_.view, level,
                                         in_other({other_.px, Mat2::Identity()}, *step), kHalf);
    if (!map_a || !map_b) return -1;
    double n = 0, sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    for (int y = -kHalf; y <= kHalf; ++y) {
      for (int x = -kHalf; x <= kHalf; ++x) {
        const Vec2 pa = map_a->frame_px(Vec2(x, y));
        const Vec2 pb = map_b->frame_px(Vec2(x, y));
        const double a = plane_a.value(pa.x(), pa.y());
        const double b = plane_b.value(pb.x(), pb.y());
        n += 1, sa += a, sb += b, saa += a * a, sbb += b * b, sab += a * b;
      }
    }
    const double spread = (n * saa - sa * sa) * (n * sbb - sb * sb);
    return spread > 0 ? (n * sab - sa * sb) / std::sqrt(spread) : -1;
  }

  [[nodiscard]] bool sure(const RefinedSight& sight) const {
    const Vec2 sigmas = eigenvalues_of_symmetric2(2 * sight.covariance_px2);
    return sigmas.minCoeff() <= square(options_.align.max_sigma_px) &&
           sigmas.maxCoeff() <= square(options_.worst_sigma_px);
  }

  // True where the middle of the patch moves as the whole does.
  [[nodiscard]] bool one_depth(const Aligned& whole) const {
    const auto middle = align(whole.level, options_.align.window / 2 | 1, whole.end);
    if (!middle) return false;
    const Vec2 gap = middle->sight.px - whole.sight.px;
    return gap.dot((2 * middle->sight.covariance_px2).inverse() * gap) <= kMostInnerGap;
  }

  ViewPoint reference_;
  ViewPoint other_;
  Surface surface_;
  const TrackRefineOptions& options_;
};

}  // namespace

std::optional<RefinedSight> refine_sight(const ViewPoint& reference, const ViewPoint& other,
                                         const RelativePose& other_from_reference, double distance,
                                         const TrackRefineOptions& options) {
  return PatchRefiner(reference, other, other_from_reference, distance, options).refine();
}

}  // namespace seamwright
