#include "apps/demo/camera.h"

#include <array>
#include <cmath>

#include "apps/demo/caster/hash.h"
#include "base/parallel.h"

namespace seamwright::demo {
namespace {

constexpr int kMargin = 4;  // lattice steps around the frame
constexpr double kNodesPerFrame = 500;
constexpr double kSoftRim_rad = rad_from_deg(0.6);
constexpr double kBeyondRim_rad = rad_from_deg(3.2);  // what interpolation at the rim reaches

/// Cubic Lagrange weights for nodes at −1, 0, 1, 2 and their slopes, at t in [0, 1].
struct CubicWeights {
  std::array<double, 4> value, slope;
};

CubicWeights cubic_weights(double t) {
  const double t2 = t * t;
  const double t3 = t2 * t;
  return {
      {(-t3 + 3 * t2 - 2 * t) / 6, (t3 - 2 * t2 - t + 2) / 2, (-t3 + t2 + 2 * t) / 2, (t3 - t) / 6},
      {(-3 * t2 + 6 * t - 2) / 6, (3 * t2 - 4 * t - 1) / 2, (-3 * t2 + 2 * t + 2) / 2,
       (3 * t2 - 1) / 6}};
}

struct Jitter {
  double u = 0, v = 0;
};

/// The same for the same point of the raster, whoever asks.
Jitter jitter_at(std::uint64_t seed, const RowPoints& points, double u_px) {
  if (points.half_jitter_px == 0) {
    return {};
  }
  const auto count = [&](double px) {
    return static_cast<std::uint64_t>(std::llround(px / points.half_jitter_px) + (1LL << 40));
  };
  const std::uint64_t h = hash_of(seed, count(u_px), count(points.v_px));
  const auto spread = [&](std::uint64_t bits) {
    return points.half_jitter_px * (static_cast<double>(bits & 0xffffffffU) * 0x1.0p-31 - 1.0);
  };
  return {spread(h), spread(h >> 32U)};
}

float soft_rim(double beyond_rad) {
  if (beyond_rad <= 0) {
    return 1;
  }
  if (beyond_rad >= kSoftRim_rad) {
    return 0;
  }
  const double t = 1.0 - beyond_rad / kSoftRim_rad;
  return static_cast<float>(t * t * (3.0 - 2.0 * t));
}

}  // namespace

Float3 to_float(const Vec3& v) {
  return {static_cast<float>(v.x()), static_cast<float>(v.y()), static_cast<float>(v.z())};
}

LensCamera::LensCamera(const MountedLens& lens, const Pose& pose, std::uint64_t jitter_seed)
    : lens_(lens),
      wide_(lens.lens),
      world_from_lens_((pose.world_from_rig * lens.rig_from_lens).toRotationMatrix()),
      axis_(pose.world_from_rig * (lens.rig_from_lens * Vec3::UnitZ())),
      pupil_(pose.position + pose.world_from_rig * lens.pupil),
      pupil_f_(to_float(pupil_)),
      cos_rim_(std::cos(lens.lens.theta_max_rad)),
      jitter_seed_(jitter_seed),
      px_angle_rad_(1.0 / lens.lens.peak_px_per_rad()),
      node_step_px_(lens.lens.width_px / kNodesPerFrame) {
  wide_.theta_max_rad += kBeyondRim_rad;
  reach_px_ = 1.02 * wide_.rim_radius_px() + 2;
  columns_ = static_cast<int>(std::ceil(lens.lens.width_px / node_step_px_)) + 2 * kMargin + 1;
  rows_ = static_cast<int>(std::ceil(lens.lens.height_px / node_step_px_)) + 2 * kMargin + 1;
  nodes_.assign(static_cast<std::size_t>(columns_ * rows_), Vec3::Zero());
  parallel_for(0, rows_, [&](int row) {
    for (int column = 0; column < columns_; ++column) {
      const Vec2 px((column - kMargin) * node_step_px_, (row - kMargin) * node_step_px_);
      nodes_[static_cast<std::size_t>(row * columns_ + column)] = exact_direction(px);
    }
  });
}

Vec3 LensCamera::exact_direction(const Vec2& px) const {
  if ((px - wide_.centre_px()).norm() > reach_px_) {
    return Vec3::Zero();
  }
  const auto direction = wide_.unproject(px);
  return direction ? Vec3(world_from_lens_ * *direction) : Vec3(Vec3::Zero());
}

std::vector<LensCamera::RowNode> LensCamera::row_nodes(double v_px) const {
  const double y = v_px / node_step_px_ + kMargin;
  const int top = static_cast<int>(std::floor(y));
  std::vector<RowNode> out(static_cast<std::size_t>(columns_));
  if (top < 1 || top + 2 >= rows_) {
    return out;
  }
  const CubicWeights w = cubic_weights(y - top);
  for (int column = 0; column < columns_; ++column) {
    RowNode& n = out[static_cast<std::size_t>(column)];
    n.known = true;
    for (int k = 0; k < 4; ++k) {
      const Vec3& d = node(column, top - 1 + k);
      n.known = n.known && !d.isZero(0);
      n.direction += w.value[static_cast<std::size_t>(k)] * d;
      n.slope += w.slope[static_cast<std::size_t>(k)] / node_step_px_ * d;
    }
  }
  return out;
}

CameraRay LensCamera::ray_of(const Vec3& direction) const {
  const double along = direction.dot(axis_);
  if (lens_.pupil_travel == 0 && along > cos_rim_ * direction.norm()) {
    return {{pupil_f_, to_float(direction.normalized())},
            1.0F};  // the common case, no angle needed
  }
  const double theta = std::atan2(direction.cross(axis_).norm(), along);
  const float weight = soft_rim(theta - lens_.lens.theta_max_rad);
  if (weight <= 0) {
    return {};
  }
  const Vec3 origin = pupil_ + lens_.pupil_travel * theta * theta * axis_;
  return {{to_float(origin), to_float(direction.normalized())}, weight};
}

void LensCamera::cast(const RowPoints& points, std::span<CameraRay> rays) const {
  const std::vector<RowNode> nodes = row_nodes(points.v_px);
  for (std::size_t i = 0; i < rays.size(); ++i) {
    rays[i] = {};
    const double u_px = points.first_px + static_cast<double>(i) * points.step_px;
    const Jitter jitter = jitter_at(jitter_seed_, points, u_px);
    const double x = (u_px + jitter.u) / node_step_px_ + kMargin;
    const int left = static_cast<int>(std::floor(x));
    if (left < 1 || left + 2 >= columns_) {
      continue;
    }
    const CubicWeights w = cubic_weights(x - left);
    Vec3 direction = Vec3::Zero();
    bool known = true;
    for (int k = 0; k < 4; ++k) {
      const RowNode& n = nodes[static_cast<std::size_t>(left - 1 + k)];
      known = known && n.known;
      direction += w.value[static_cast<std::size_t>(k)] * (n.direction + jitter.v * n.slope);
    }
    if (!known) {
      // The lattice ends at the rim.
      direction = exact_direction({u_px + jitter.u, points.v_px + jitter.v});
    }
    if (!direction.isZero(0)) {
      rays[i] = ray_of(direction);
    }
  }
}

PanoramaCamera::PanoramaCamera(const Equirect& raster, const Vec3& centre_in_rig, const Pose& pose,
                               std::uint64_t jitter_seed)
    : raster_(raster),
      world_from_rig_(pose.world_from_rig.toRotationMatrix()),
      centre_(pose.position + pose.world_from_rig * centre_in_rig),
      jitter_seed_(jitter_seed) {}

void PanoramaCamera::cast(const RowPoints& points, std::span<CameraRay> rays) const {
  for (std::size_t i = 0; i < rays.size(); ++i) {
    const double u_px = points.first_px + static_cast<double>(i) * points.step_px;
    const Jitter jitter = jitter_at(jitter_seed_, points, u_px);
    const Vec3 direction =
        world_from_rig_ * raster_.direction({u_px + jitter.u, points.v_px + jitter.v});
    rays[i] = {{to_float(centre_), to_float(direction)}, 1.0F};
  }
}

}  // namespace seamwright::demo
