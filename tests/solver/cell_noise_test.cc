#include "solver/cell_noise.h"

#include <cmath>
#include <vector>

#include <Eigen/LU>

#include "solver/symmetric.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

constexpr int kUnknowns = 6;
constexpr int kShotsOfNoise = 5;
constexpr int kParts = 24;
constexpr int kRowsPerCell = 6;

// Rows of random derivatives; every cell shifts its own rows, by as much in all.
struct Model {
  Eigen::MatrixXd by_unknowns;
  Eigen::MatrixXd by_shifts;
  std::vector<Cell> cells;

  explicit Model(Random& random) {
    for (int shot = 0; shot < kShotsOfNoise; ++shot) {
      for (int part = 0; part < kParts; ++part) cells.push_back({shot, 0, part});
    }
    const auto rows = static_cast<Eigen::Index>(cells.size() * kRowsPerCell);
    by_unknowns = Eigen::MatrixXd(rows, kUnknowns);
    by_shifts = Eigen::MatrixXd::Zero(rows, static_cast<Eigen::Index>(2 * cells.size()));
    // As smooth functions of the part, so that what a part has in common looks like an unknown.
    for (Eigen::Index row = 0; row < rows; ++row) {
      const auto cell = row / kRowsPerCell;
      const double angle = 2 * kPi * static_cast<double>(cell % kParts) / kParts;
      for (int k = 0; k < kUnknowns; ++k) {
        by_unknowns(row, k) = std::cos(k * angle + 0.3 * k) + random.normal(0.3);
      }
      by_shifts(row, 2 * cell) = random.uniform(0.5, 1.5);
      by_shifts(row, 2 * cell + 1) = random.uniform(-0.5, 0.5);
    }
  }

  [[nodiscard]] Eigen::VectorXd drawn(Random& random, const SharedNoise& noise) const {
    Eigen::VectorXd shifts(by_shifts.cols());
    Eigen::VectorXd of_parts(2 * kParts);
    for (double& one : of_parts) one = random.normal(1) * noise.in_all_shots_px;
    for (Eigen::Index i = 0; i < shifts.size(); ++i) {
      shifts[i] = random.normal(1) * noise.in_a_shot_px + of_parts[i % (2 * kParts)];
    }
    Eigen::VectorXd z = by_shifts * shifts;
    for (double& one : z) one += random.normal(1);
    return z;
  }

  [[nodiscard]] CellRows rows(const Eigen::VectorXd& residuals) const {
    CellRows rows{
        cells, by_unknowns.transpose() * by_shifts, {}, by_shifts.transpose() * residuals};
    const Eigen::MatrixXd own = by_shifts.transpose() * by_shifts;
    for (int i = 0; i < own.rows(); ++i) {
      for (int k = 0; k < own.cols(); ++k) {
        if (own(i, k) != 0) rows.own.emplace_back(i, k, own(i, k));
      }
    }
    return rows;
  }
};

TEST_CASE("shared noise is found, and the unknowns scatter as is then claimed") {
  CAPTURE(seed());
  for (const SharedNoise truth : {SharedNoise{0, 0}, {0.6, 0}, {0, 0.5}, {0.4, 0.3}}) {
    CAPTURE(truth.in_a_shot_px, truth.in_all_shots_px);
    Random random(60);
    const Model model(random);
    const Eigen::MatrixXd covariance =
        symmetric_inverse(model.by_unknowns.transpose() * model.by_unknowns);
    constexpr int kDraws = 400;
    double in_a_shot = 0;
    double in_all_shots = 0;
    double normalised = 0;
    double plainly = 0;
    for (int i = 0; i < kDraws; ++i) {
      const Eigen::VectorXd z = model.drawn(random, truth);
      const Eigen::VectorXd off = covariance * (model.by_unknowns.transpose() * z);
      const CellRows rows = model.rows(z - model.by_unknowns * off);
      const SharedNoise found = estimate_shared_noise(rows, covariance);
      in_a_shot += std::pow(found.in_a_shot_px, 2) / kDraws;
      in_all_shots += std::pow(found.in_all_shots_px, 2) / kDraws;
      const Eigen::MatrixXd told = widened(covariance, rows, found);
      normalised += off.dot(symmetric_inverse(told) * off) / kUnknowns / kDraws;
      plainly += off.dot(symmetric_inverse(covariance) * off) / kUnknowns / kDraws;
    }
    WARN("shared in a shot " << std::sqrt(in_a_shot) << " of " << truth.in_a_shot_px
                             << ", in all shots " << std::sqrt(in_all_shots) << " of "
                             << truth.in_all_shots_px << "; normalised squared error " << normalised
                             << ", without the shared part " << plainly);
    // No square is found to be negative: where there is none, the mean is a little above.
    CHECK(in_a_shot == Approx(std::pow(truth.in_a_shot_px, 2)).epsilon(0.15).margin(0.02));
    CHECK(in_all_shots == Approx(std::pow(truth.in_all_shots_px, 2)).epsilon(0.2).margin(0.02));
    CHECK(normalised > 0.7);
    CHECK(normalised < 1.4);
    if (truth.in_a_shot_px + truth.in_all_shots_px > 0) CHECK(plainly > 2);
  }
}

TEST_CASE("one shot cannot tell its own errors from those of all") {
  CAPTURE(seed());
  Random random(61);
  const Model model(random);
  const Eigen::MatrixXd covariance =
      symmetric_inverse(model.by_unknowns.transpose() * model.by_unknowns);
  CellRows rows = model.rows(model.drawn(random, {0.5, 0}));
  for (std::size_t i = 0; i < rows.cells.size(); ++i) {
    rows.cells[i] = {0, 0, static_cast<int>(i)};
  }
  const SharedNoise found = estimate_shared_noise(rows, covariance);
  CHECK(found.in_a_shot_px > 0.2);
  CHECK(found.in_all_shots_px == 0);
  CHECK(estimate_shared_noise({}, covariance).in_a_shot_px == 0);
  CHECK(widened(covariance, {}, found) == covariance);
}

TEST_CASE("parts of rows are joined by what they are of") {
  CellRows one{{{0, 0, 1}, {1, 0, 0}}, Eigen::MatrixXd::Ones(2, 4), {{2, 0, 5.0}}, {}};
  one.score = Eigen::Vector4d(1, 2, 3, 4);
  CellRows other{{{1, 0, 0}}, Eigen::MatrixXd::Ones(1, 2), {{0, 0, 7.0}}, {}};
  other.score = Eigen::Vector2d(10, 20);
  const CellRows all = joined({one, other}, {{0, 2}, {2}}, 3);
  REQUIRE(all.cells == std::vector<Cell>{{0, 0, 1}, {1, 0, 0}});
  CHECK(all.score == Eigen::Vector4d(1, 2, 13, 24));
  Eigen::MatrixXd cross(3, 4);
  cross << 1, 1, 1, 1, 0, 0, 0, 0, 1, 1, 2, 2;
  CHECK(all.cross == cross);
  REQUIRE(all.own.size() == 2);
  CHECK(all.own[1].row() == 2);
}

TEST_CASE("the parts of a field are told apart by angle and by how far out they are") {
  const Lens lens = test::nominal_rig().lenses[0].lens;
  const Vec2 centre = lens.centre_px();
  const double rim = lens.rim_radius_px();
  std::vector<int> seen(24, 0);
  for (int i = 0; i < 360; ++i) {
    const double angle = rad_from_deg(i + 0.5);
    for (const double share : {0.1, 0.3, 0.5, 0.7, 0.8, 0.99}) {
      const Vec2 px = centre + share * rim * Vec2(std::cos(angle), std::sin(angle));
      ++seen[static_cast<std::size_t>(part_of_field(lens, px))];
    }
  }
  for (int part = 0; part < 24; ++part) {
    CAPTURE(part);
    CHECK(seen[static_cast<std::size_t>(part)] == 720 / (part < 4 ? 4 : part < 12 ? 8 : 12));
  }
}

}  // namespace
}  // namespace seamwright
