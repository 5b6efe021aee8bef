#include "compose/finish/verticals.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Geometry>
#include <fmt/format.h>

#include "base/out_of_range.h"
#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

constexpr double kLeastPointSigma_px = 0.05;  // an edge is not straighter than this in any picture

Error no_vertical(std::string what) {
  return {.kind = ErrorKind::numeric,
          .where = {},
          .field = "level",
          .what = std::move(what),
          .remedy = "name one or two upright edges with 'vertical', or leave the level as it is"};
}

Vec3 turned_up(const Vec3& down) { return down.y() < 0 ? Vec3(-down) : down; }

// The direction most perpendicular to weighted normals, and how much worse the next one is.
struct Perpendicular {
  Vec3 direction;
  Vec3 values;  // eigenvalues of Σ w n nᵀ, rising
};

Perpendicular perpendicular(std::span<const EdgePlane> edges, std::span<const double> weights) {
  Mat3 sum = Mat3::Zero();
  for (std::size_t i = 0; i < edges.size(); ++i) {
    sum += weights[i] * edges[i].normal * edges[i].normal.transpose();
  }
  const SymmetricEigen3 eigen = eigen_of_symmetric3(sum);
  return {turned_up(eigen.vectors.col(0)), eigen.values};
}

std::optional<EdgePlane> plane_of(const MountedLens& mounted, const PlumbLine& line) {
  std::vector<Vec3> directions;
  Mat3 sum = Mat3::Zero();
  double sigma2 = 0;
  for (const PlumbPoint& point : line.points) {
    const auto direction = mounted.direction_in_rig(point.px);
    if (!direction) continue;
    directions.push_back(*direction);
    sum += *direction * direction->transpose();
    sigma2 += point.sigma_px * point.sigma_px + kLeastPointSigma_px * kLeastPointSigma_px;
  }
  if (directions.size() < 5) return std::nullopt;
  const SymmetricEigen3 eigen = eigen_of_symmetric3(sum);
  // Along the edge the points spread by the middle eigenvalue; a point would leave the normal open.
  const Vec3& values = eigen.values;
  if (values[1] < 1e-6) return std::nullopt;
  const double count = static_cast<double>(directions.size());
  const double focal_px = mounted.lens.terms[kFocal];
  const double rms2 = std::max(sigma2 / count / (focal_px * focal_px), values[0] / count);
  EdgePlane plane;
  plane.normal = eigen.vectors.col(0);
  for (int axis = 1; axis < 3; ++axis) {
    const Vec3 tangent = eigen.vectors.col(axis);
    plane.covariance += rms2 / values[axis] * tangent * tangent.transpose();
  }
  plane.length_rad = angle_between(directions.front(), directions.back());
  return plane;
}

// An edge that two lenses saw is one edge: what counts is how many there are. The longer stays.
void drop_repeats(std::vector<EdgePlane>& planes) {
  const double least_sine = std::sin(rad_from_deg(0.25));
  std::stable_sort(planes.begin(), planes.end(), [](const EdgePlane& a, const EdgePlane& b) {
    return a.length_rad > b.length_rad;
  });
  std::vector<EdgePlane> kept;
  for (const EdgePlane& plane : planes) {
    const bool repeat = std::any_of(kept.begin(), kept.end(), [&](const EdgePlane& other) {
      return other.normal.cross(plane.normal).norm() < least_sine;
    });
    if (!repeat) kept.push_back(plane);
  }
  planes = std::move(kept);
}

class VerticalSearch {
 public:
  VerticalSearch(std::span<const EdgePlane> edges, const VerticalOptions& options)
      : edges_(edges), options_(options) {}

  // The supporting edges of the best direction; the number of directions tried is counted.
  std::vector<std::size_t> best_support() {
    std::vector<std::size_t> best;
    double best_score = 0;
    const double least_cosine = std::cos(rad_from_deg(options_.largest_tilt_deg));
    for (std::size_t i = 0; i < edges_.size(); ++i) {
      for (std::size_t j = i + 1; j < edges_.size(); ++j) {
        const Vec3 cross = edges_[i].normal.cross(edges_[j].normal);
        // Nearly one plane: the crossing is nowhere in particular.
        if (cross.norm() < 0.1) continue;
        const Vec3 down = turned_up(cross.normalized());
        if (down.y() < least_cosine) continue;
        ++tried_;
        const double score = support_score(down);
        if (score <= best_score) continue;
        best_score = score;
        best = support(down);
      }
    }
    return best;
  }

  // How far an edge may pass from a direction to support it: three of its sigmas.
  [[nodiscard]] double sigma(const EdgePlane& edge, const Vec3& down) const {
    const double lean = rad_from_deg(options_.edge_lean_deg);
    return std::sqrt(down.dot(edge.covariance * down) + lean * lean);
  }

  [[nodiscard]] std::vector<std::size_t> support(const Vec3& down) const {
    std::vector<std::size_t> chosen;
    for (std::size_t i = 0; i < edges_.size(); ++i) {
      if (off(i, down) < kGate) chosen.push_back(i);
    }
    return chosen;
  }

  // Expected number of tried directions through which as many of as many edges pass by chance: a
  // plane of any direction passes within t of a given one with probability sin t.
  [[nodiscard]] double chance(std::size_t supporting, const Vec3& down) const {
    double gate = 0;
    for (const EdgePlane& edge : edges_) {
      gate += std::sin(std::min(kGate * sigma(edge, down), kPi / 2));
    }
    gate /= static_cast<double>(edges_.size());
    // Two edges define the direction and support it for nothing.
    const int n = static_cast<int>(edges_.size()) - 2;
    const int k = static_cast<int>(supporting) - 2;
    double tail = 0;
    for (int i = std::max(k, 0); i <= n; ++i) {
      tail += std::exp(std::lgamma(n + 1.0) - std::lgamma(i + 1.0) - std::lgamma(n - i + 1.0) +
                       i * std::log(gate) + (n - i) * std::log1p(-gate));
    }
    return tail * static_cast<double>(tried_);
  }

 private:
  static constexpr double kGate = 3;

  [[nodiscard]] double off(std::size_t i, const Vec3& down) const {
    return std::abs(edges_[i].normal.dot(down)) / sigma(edges_[i], down);
  }
  // Truncated squares (Torr & Zisserman 2000), long edges count more.
  [[nodiscard]] double support_score(const Vec3& down) const {
    double score = 0;
    for (std::size_t i = 0; i < edges_.size(); ++i) {
      const double q = off(i, down) / kGate;
      if (q < 1) score += std::min(edges_[i].length_rad, 0.7) * (1 - q * q);
    }
    return score;
  }

  std::span<const EdgePlane> edges_;
  const VerticalOptions& options_;
  std::int64_t tried_ = 0;
};

// Iteratively reweighted (Cauchy) from a support set; fills everything but the chance.
Vertical refined(std::span<const EdgePlane> edges, const VerticalSearch& search, const Vec3& down) {
  constexpr int kRounds = 12;
  std::vector<double> weights(edges.size());
  Perpendicular fit{down, Vec3::Zero()};
  for (int round = 0; round < kRounds; ++round) {
    for (std::size_t i = 0; i < edges.size(); ++i) {
      const double sigma = search.sigma(edges[i], fit.direction);
      const double q = edges[i].normal.dot(fit.direction) / sigma;
      weights[i] = std::abs(q) > 6 ? 0.0 : 1 / (sigma * sigma * (1 + q * q));
    }
    fit = perpendicular(edges, weights);
  }
  Vertical found{.down = fit.direction};
  double sum = 0;
  double normalised = 0;
  for (const std::size_t i : search.support(found.down)) {
    const double lean = edges[i].normal.dot(found.down);
    sum += lean * lean;
    normalised += std::pow(lean / search.sigma(edges[i], found.down), 2);
    ++found.edges;
  }
  found.edges_seen = static_cast<int>(edges.size());
  found.rms_lean_deg = deg_from_rad(std::sqrt(sum / std::max(found.edges, 1)));
  // Information about the tilt is least along the second eigenvector. The edges' own scatter says
  // how well they are built (Birge 1932, Physical Review 40:207–227); it is trusted to a third
  // only, for few edges may agree by luck.
  const double scatter =
      std::clamp(std::sqrt(normalised / std::max(found.edges - 2, 1)), 1.0 / 3, 3.0);
  found.sigma_deg =
      deg_from_rad(scatter / std::sqrt(std::max(fit.values[1] - fit.values[0], 1e-12)));
  return found;
}

Error range_error(const char* field, double value, const char* range) {
  return {.where = {},
          .field = field,
          .what = fmt::format("{} is outside {}", value, range),
          .remedy = {}};
}

}  // namespace

std::optional<Error> VerticalOptions::validate() const {
  if (auto error = out_of_range("largest tilt", largest_tilt_deg, 1, 45)) return error;
  if (auto error = out_of_range("edge lean", edge_lean_deg, 0.02, 2)) return error;
  if (least_edges < 2) return range_error("least edges", least_edges, "2 and more");
  if (!(largest_sigma_deg > 0)) return range_error("largest sigma", largest_sigma_deg, "above 0");
  if (!(chance > 0)) return range_error("chance", chance, "above 0");
  return std::nullopt;
}

std::vector<EdgePlane> edge_planes(const Rig& rig, std::span<const PlumbLine> lines) {
  std::vector<EdgePlane> planes;
  for (const PlumbLine& line : lines) {
    const auto plane = plane_of(rig.lenses[static_cast<std::size_t>(line.lens)], line);
    if (plane) planes.push_back(*plane);
  }
  drop_repeats(planes);
  return planes;
}

Result<EdgePlane> edge_through(const Vec3& a, const Vec3& b) {
  if (leave_plane_open(a, b)) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "vertical",
                 .what = "the two points are too close together, or opposite",
                 .remedy = "pick points far apart on one upright edge"});
  }
  EdgePlane plane;
  plane.normal = a.cross(b).normalized();
  plane.length_rad = angle_between(a, b);
  return plane;
}

Result<Vertical> find_vertical(std::span<const EdgePlane> edges, const VerticalOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  VerticalSearch search(edges, options);
  const auto first = search.best_support();
  const auto least = static_cast<std::size_t>(options.least_edges);
  if (first.empty()) {
    return fail(no_vertical(
        fmt::format("no verticals: no two of the {} straight edges agree on an upright direction",
                    edges.size())));
  }
  if (first.size() < least) {
    return fail(
        no_vertical(fmt::format("no verticals: of {} straight edges at most {} agree on an upright "
                                "direction; {} are needed",
                                edges.size(), first.size(), least)));
  }
  std::vector<EdgePlane> supporting;
  for (const std::size_t i : first) supporting.push_back(edges[i]);
  const std::vector<double> even(supporting.size(), 1.0);
  Vertical found = refined(edges, search, perpendicular(supporting, even).direction);
  found.chance = search.chance(static_cast<std::size_t>(found.edges), found.down);
  if (found.edges < options.least_edges || !(found.chance < options.chance)) {
    return fail(no_vertical(
        fmt::format("no verticals: {} of {} straight edges pass through one direction, which "
                    "may well be chance",
                    found.edges, found.edges_seen)));
  }
  if (!(found.sigma_deg <= options.largest_sigma_deg)) {
    return fail(no_vertical(
        fmt::format("the {} upright edges leave the tilt uncertain by {:.2f} degrees (1 sigma); "
                    "they stand too close together",
                    found.edges, found.sigma_deg)));
  }
  if (found.tilt_deg() > options.largest_tilt_deg) {
    return fail(no_vertical(fmt::format(
        "the upright edges would tilt the picture by {:.1f} degrees", found.tilt_deg())));
  }
  return found;
}

Result<Vertical> vertical_from_given(std::span<const EdgePlane> edges) {
  if (edges.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "vertical",
                 .what = "no edge given",
                 .remedy = "give at least one"});
  }
  // The body's own down decides what the edges leave open, and hardly anything else.
  constexpr double kPrior = 1e-6;
  Mat3 sum = kPrior * (Mat3::Identity() - Vec3::UnitY() * Vec3::UnitY().transpose());
  for (const EdgePlane& edge : edges) {
    sum += edge.length_rad * edge.length_rad * edge.normal * edge.normal.transpose();
  }
  const SymmetricEigen3 eigen = eigen_of_symmetric3(sum);
  Vertical found{.down = turned_up(eigen.vectors.col(0)),
                 .edges = static_cast<int>(edges.size()),
                 .edges_seen = static_cast<int>(edges.size())};
  double squares = 0;
  for (const EdgePlane& edge : edges) squares += std::pow(edge.normal.dot(found.down), 2);
  found.rms_lean_deg = deg_from_rad(std::sqrt(squares / static_cast<double>(edges.size())));
  if (found.tilt_deg() > 45) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "vertical",
                 .what = fmt::format("these edges would tilt the picture by {:.0f} degrees",
                                     found.tilt_deg()),
                 .remedy = "give upright edges; horizontal ones do not tell the level"});
  }
  return found;
}

Result<Vertical> vertical_from_marked(std::span<const UprightEdge> edges) {
  std::vector<EdgePlane> planes;
  for (std::size_t i = 0; i < edges.size(); ++i) {
    auto plane = edge_through(edges[i].ends[0].direction(), edges[i].ends[1].direction());
    if (!plane) {
      plane.error().field = fmt::format("verticals[{}]", i);
      return tl::unexpected(plane.error());
    }
    planes.push_back(*plane);
  }
  auto vertical = vertical_from_given(planes);
  if (!vertical) vertical.error().field = "verticals";
  return vertical;
}

}  // namespace seamwright
