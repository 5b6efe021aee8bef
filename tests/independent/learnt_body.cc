#include "learnt_body.h"

#include <cmath>
#include <stdexcept>

#include <Eigen/Dense>
#include <yaml-cpp/yaml.h>

namespace independent {

namespace {

double base_radius(const std::string& curve, double theta) {
  if (curve == "equidistant") return theta;
  if (curve == "equisolid") return 2 * std::sin(0.5 * theta);
  if (curve == "stereographic") return 2 * std::tan(0.5 * theta);
  if (curve == "orthographic") return std::sin(theta);
  throw std::runtime_error("unknown curve " + curve);
}

Matrix3d turn_of(const Vector3d& rotation_deg) {
  const double angle = rotation_deg.norm() * kDegree;
  if (angle == 0) return Matrix3d::Identity();
  return Eigen::AngleAxisd(angle, rotation_deg.normalized()).toRotationMatrix();
}

std::array<double, 3> three(const YAML::Node& node, const char* stem) {
  std::array<double, 3> values{};
  for (int i = 0; i < 3; ++i) {
    const int number = stem[0] == 'a' ? i : i + 1;
    values[static_cast<std::size_t>(i)] = node[stem + std::to_string(number)].as<double>();
  }
  return values;
}

}  // namespace

Vector2d LearntLens::project(const Vector3d& direction_in_rig) const {
  const Vector3d v = rig_from_lens.transpose() * direction_in_rig;
  const double across = std::hypot(v.x(), v.y());
  const double theta = std::atan2(across, v.z());
  double factor = 1;
  double power = 1;
  for (const double term : radial) {
    power *= theta * theta;
    factor += term * power;
  }
  const Vector2d rho = base_radius(curve, theta) * factor / std::max(1e-12, across) * v.head<2>();
  const double square = rho.squaredNorm();
  const double mx = rho.x() + decentre.x() * (square + 2 * rho.x() * rho.x()) +
                    2 * decentre.y() * rho.x() * rho.y();
  const double my = rho.y() + decentre.y() * (square + 2 * rho.y() * rho.y()) +
                    2 * decentre.x() * rho.x() * rho.y();
  return centre_px + focal_px * Vector2d((1 + aspect) * mx + shear * my, my);
}

Vector3d LearntLens::direction_in_rig(const Vector2d& px, const Vector3d& start) const {
  constexpr double kStep = 1e-6;
  Vector3d v = start.normalized();
  for (int i = 0; i < 20; ++i) {
    const Vector3d e1 = v.unitOrthogonal();
    const Vector3d e2 = v.cross(e1);
    const Vector2d miss = px - project(v);
    if (miss.norm() < 1e-10) return v;
    Eigen::Matrix2d slope;
    slope.col(0) = (project((v + kStep * e1).normalized()) - project(v)) / kStep;
    slope.col(1) = (project((v + kStep * e2).normalized()) - project(v)) / kStep;
    const Vector2d step = slope.inverse() * miss;
    v = (v + step.x() * e1 + step.y() * e2).normalized();
  }
  if ((px - project(v)).norm() > 1e-6) throw std::runtime_error("a learnt lens has no inverse");
  return v;
}

std::vector<LearntLens> read_learnt_body(const std::string& file) {
  const YAML::Node root = YAML::LoadFile(file);
  std::vector<LearntLens> lenses;
  for (const YAML::Node& node : root["lenses"]) {
    const auto number = [&](const char* key) { return node[key].as<double>(); };
    const auto vector = [&](const char* key) {
      const YAML::Node list = node[key];
      return Vector3d(list[0].as<double>(), list[1].as<double>(), list[2].as<double>());
    };
    LearntLens lens;
    lens.curve = node["curve"].as<std::string>();
    lens.focal_px = number("focal_px");
    lens.centre_px = {number("centre_u_px"), number("centre_v_px")};
    lens.radial = {number("radial_1"), number("radial_2"), number("radial_3"), number("radial_4")};
    lens.aspect = number("aspect");
    lens.shear = number("shear");
    lens.decentre = {number("decentre_u"), number("decentre_v")};
    lens.theta_max_rad = number("theta_max_deg") * kDegree;
    lens.fringe_red = three(node["fringe_red"], "a");
    lens.fringe_blue = three(node["fringe_blue"], "a");
    lens.vignetting = three(node["vignetting"], "v");
    lens.rig_from_lens = turn_of(vector("rotation_deg"));
    lens.pupil_m = vector("pupil_m");
    lenses.push_back(lens);
  }
  return lenses;
}

Misalignment misalignment(const std::vector<LearntLens>& learnt, const std::array<Lens, 2>& truth) {
  if (learnt.size() != 2) throw std::runtime_error("not a template of two lenses");
  constexpr int kAround = 72;
  double parallax = 0;
  double sideways = 0;
  Misalignment result;
  int count = 0;
  // Both lenses see 82.5 to 97.5 degrees, less the back lens' lean.
  for (double eta_deg = 83.5; eta_deg <= 96.5; eta_deg += 1) {
    for (int k = 0; k < kAround; ++k) {
      const double psi = 360.0 * k / kAround * kDegree;
      const double eta = eta_deg * kDegree;
      const Vector3d d(std::sin(eta) * std::cos(psi), std::sin(eta) * std::sin(psi), std::cos(eta));
      const Vector3d around(-std::sin(psi), std::cos(psi), 0);
      const Vector3d apart = learnt[1].direction_in_rig(truth[1].project(d), d) -
                             learnt[0].direction_in_rig(truth[0].project(d), d);
      const double part_sideways = truth[0].focal_px * apart.dot(around);
      const double part_parallax = truth[0].focal_px * apart.dot(around.cross(d));
      parallax += part_parallax * part_parallax;
      sideways += part_sideways * part_sideways;
      result.max_px = std::max(result.max_px, std::hypot(part_parallax, part_sideways));
      ++count;
    }
  }
  result.parallax_px = std::sqrt(parallax / count);
  result.sideways_px = std::sqrt(sideways / count);
  result.rms_px = std::sqrt((parallax + sideways) / count);
  return result;
}

}  // namespace independent
