#include "tests/features/published_rig.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <Eigen/Dense>
#include <yaml-cpp/yaml.h>

namespace seamwright::test {

namespace {

// Radius at an angle off axis: a polynomial in the elevation, which is the angle less a right one.
double published_radius(const std::vector<double>& coefficients, double theta) {
  double sum = 0;
  for (std::size_t i = coefficients.size(); i-- > 1;) {
    sum = sum * (theta - kPi / 2) + coefficients[i];
  }
  return sum;
}

// r = f θ (1 + radial_1 θ² + … + radial_4 θ⁸) by least squares.
double fit_radius(const std::vector<double>& coefficients, double theta_max, Lens& lens) {
  constexpr int kSamples = 400;
  Eigen::MatrixXd powers(kSamples, 5);
  Eigen::VectorXd radius(kSamples);
  for (int i = 0; i < kSamples; ++i) {
    const double theta = theta_max * (i + 0.5) / kSamples;
    for (int k = 0; k < 5; ++k) powers(i, k) = std::pow(theta, 2 * k + 1);
    radius[i] = published_radius(coefficients, theta);
  }
  const Eigen::VectorXd fit = powers.colPivHouseholderQr().solve(radius);
  lens.terms[kFocal] = fit[0];
  for (int k = 0; k < 4; ++k)
    lens.terms[static_cast<std::size_t>(kRadial1 + k)] = fit[k + 1] / fit[0];
  return (powers * fit - radius).cwiseAbs().maxCoeff();
}

}  // namespace

PublishedRig read_published_rig(const std::filesystem::path& path, double theta_max_rad) {
  PublishedRig published;
  for (const YAML::Node& camera : YAML::LoadFile(path.string())["cameras"]) {
    const auto list = [&](const char* key) { return camera[key].as<std::vector<double>>(); };
    MountedLens mounted;
    Lens& lens = mounted.lens;
    const auto size = list("image_size");
    lens.height_px = static_cast<int>(size.at(0));
    lens.width_px = static_cast<int>(size.at(1));
    lens.theta_max_rad = theta_max_rad;
    published.worst_fit_px =
        std::max(published.worst_fit_px, fit_radius(list("inv_poly"), theta_max_rad, lens));

    // Pixel centres are whole numbers there.
    const auto centre = list("center");
    lens.terms[kCentreV] = centre.at(0) + 0.5;
    lens.terms[kCentreU] = centre.at(1) + 0.5;

    // (u, v) = A (x, y), A = [1 e; d c]; A = upper triangle × turn.
    const auto affine = list("affine");
    Mat2 a;
    a << 1, affine.at(2), affine.at(1), affine.at(0);
    const double turn = std::atan2(a(1, 0), a(1, 1));
    const Mat2 upper = a * Eigen::Rotation2Dd(turn).toRotationMatrix().transpose();
    lens.terms[kFocal] *= upper(1, 1);
    lens.terms[kAspect] = upper(0, 0) / upper(1, 1) - 1;
    lens.terms[kShear] = upper(0, 1) / upper(1, 1);

    const auto pose = list("pose");
    mounted.rig_from_lens = (quat_from_rotation_vector(Vec3(pose.at(0), pose.at(1), pose.at(2))) *
                             Quat(Eigen::AngleAxisd(-turn, Vec3::UnitZ())))
                                .normalized();
    mounted.pupil = Vec3(pose.at(3), pose.at(4), pose.at(5));
    published.rig.lenses.push_back(mounted);
  }
  return published;
}

}  // namespace seamwright::test
