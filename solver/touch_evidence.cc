#include "solver/touch_evidence.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Cholesky>
#include <Eigen/LU>

namespace seamwright {

namespace {

// Normal equations of the automatic ties: N = Σ AᵀA, b = −Σ Aᵀz.
struct Normal {
  Eigen::MatrixXd n;
  Eigen::VectorXd b;
};

Normal normal_of(const std::vector<ReducedTie>& ties, Eigen::Index columns) {
  Normal normal{Eigen::MatrixXd::Zero(columns, columns), Eigen::VectorXd::Zero(columns)};
  for (const ReducedTie& tie : ties) {
    normal.n += tie.by_terms.transpose() * tie.by_terms;
    normal.b -= tie.by_terms.transpose() * tie.residual;
  }
  return normal;
}

// What is believed of the terms before the manual ties: mean, covariance, and the likelihood of the
// automatic ties so far (up to a constant).
struct Belief {
  Eigen::VectorXd mean;
  Eigen::MatrixXd covariance;
  double log_likelihood = 0;
};

// Without inverting the prior, which may be singular: (Σ⁻¹ + N)⁻¹ = Σ (I + NΣ)⁻¹ and
// log|C| = log|I + NΣ|.
Belief believe(const Eigen::MatrixXd& prior, const Normal& automatic) {
  if (automatic.n.isZero(0)) return {Eigen::VectorXd::Zero(prior.rows()), prior, 0};
  const Eigen::MatrixXd mixed =
      Eigen::MatrixXd::Identity(prior.rows(), prior.rows()) + automatic.n * prior;
  const Eigen::PartialPivLU<Eigen::MatrixXd> factor(mixed);
  Belief belief;
  belief.covariance = prior * factor.inverse();
  belief.covariance = (0.5 * (belief.covariance + belief.covariance.transpose())).eval();
  belief.mean = belief.covariance * automatic.b;
  const double log_determinant = factor.matrixLU().diagonal().cwiseAbs().array().log().sum();
  belief.log_likelihood = -0.5 * log_determinant + 0.5 * automatic.b.dot(belief.mean);
  return belief;
}

// Rows of all manual ties under one belief: z and C.
struct Predicted {
  Eigen::VectorXd z;
  Eigen::MatrixXd covariance;
};

Predicted predict(const Belief& belief, const Eigen::VectorXd& residual,
                  const Eigen::MatrixXd& by_terms) {
  Predicted predicted;
  predicted.z = residual + by_terms * belief.mean;
  predicted.covariance = by_terms * belief.covariance * by_terms.transpose() +
                         Eigen::MatrixXd::Identity(residual.size(), residual.size());
  return predicted;
}

double log_gaussian(const Eigen::VectorXd& z, const Eigen::MatrixXd& covariance) {
  if (z.size() == 0) return 0;
  const Eigen::LLT<Eigen::MatrixXd> factor(covariance);
  const double log_determinant =
      2 * Eigen::MatrixXd(factor.matrixL()).diagonal().array().log().sum();
  return -0.5 * log_determinant - 0.5 * z.dot(factor.solve(z));
}

// A wrong tie lies anywhere within w of where the others would have it.
double log_likelihood(const Predicted& predicted, const std::vector<WeighedTie>& ties,
                      const std::vector<char>& wrong, double wrong_share) {
  Eigen::MatrixXd covariance = predicted.covariance;
  double sum = 0;
  Eigen::Index row = 0;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    const Eigen::Index rows = ties[i].reduced.residual.size();
    if (wrong[i] != 0) {
      sum += std::log(wrong_share / (1 - wrong_share));
      covariance.diagonal().segment(row, rows).array() +=
          ties[i].wrong_sigmas * ties[i].wrong_sigmas;
    }
    row += rows;
  }
  return sum + log_gaussian(predicted.z, covariance);
}

// All subsets of 0…count−1 with at most `most` members, the smallest first.
std::vector<std::vector<char>> subsets(std::size_t count, int most) {
  std::vector<std::vector<char>> all = {std::vector<char>(count, 0)};
  std::size_t begin = 0;
  for (int size = 0; size < most; ++size) {
    const std::size_t end = all.size();
    for (std::size_t k = begin; k < end; ++k) {
      std::size_t next = 0;  // only members behind the last one: each subset comes once
      for (std::size_t i = 0; i < count; ++i) next = all[k][i] != 0 ? i + 1 : next;
      for (std::size_t i = next; i < count; ++i) {
        all.push_back(all[k]);
        all.back()[i] = 1;
      }
    }
    begin = end;
  }
  return all;
}

bool within(const std::vector<char>& part, const std::vector<char>& whole) {
  for (std::size_t i = 0; i < part.size(); ++i) {
    if (part[i] != 0 && whole[i] == 0) return false;
  }
  return true;
}

// The best explanation that blames other ties.
void find_rival(const std::vector<std::vector<char>>& candidates,
                const std::vector<double>& best_of, Evidence& evidence) {
  if (std::count(evidence.wrong.begin(), evidence.wrong.end(), 1) == 0) return;
  double best = -std::numeric_limits<double>::infinity();
  for (std::size_t k = 1; k < candidates.size(); ++k) {  // 0 blames nobody
    if (within(evidence.wrong, candidates[k]) || within(candidates[k], evidence.wrong)) continue;
    if (best_of[k] <= best) continue;
    best = best_of[k];
    evidence.rival = candidates[k];
    evidence.rival_behind = evidence.log_likelihood - best;
  }
}

}  // namespace

Eigen::MatrixXd FlexLadder::prior(double sigma_rad) const {
  Eigen::MatrixXd inflated = covariance;
  for (const int column : rotations) inflated(column, column) += sigma_rad * sigma_rad;
  return inflated;
}

Evidence weigh(const FlexLadder& ladder, const std::vector<WeighedTie>& manual,
               const std::vector<ReducedTie>& automatic, const EvidenceOptions& options) {
  Eigen::Index rows = 0;
  for (const WeighedTie& tie : manual) rows += tie.reduced.residual.size();
  Eigen::VectorXd residual(rows);
  Eigen::MatrixXd by_terms(rows, ladder.covariance.cols());
  Eigen::Index row = 0;
  for (const WeighedTie& tie : manual) {
    residual.segment(row, tie.reduced.residual.size()) = tie.reduced.residual;
    by_terms.middleRows(row, tie.reduced.residual.size()) = tie.reduced.by_terms;
    row += tie.reduced.residual.size();
  }
  const Normal normal = normal_of(automatic, ladder.covariance.cols());
  const auto candidates = subsets(manual.size(), options.most_wrong);
  constexpr double kNever = -std::numeric_limits<double>::infinity();
  std::vector<double> best_of(candidates.size(), kNever);
  Evidence best;
  best.flex_rad = ladder.sigmas_rad.front();  // where nothing can be told, nothing has happened
  best.wrong = candidates.front();
  best.log_likelihood = kNever;
  for (const double sigma_rad : ladder.sigmas_rad) {
    const Belief belief = believe(ladder.prior(sigma_rad), normal);
    const Predicted predicted = predict(belief, residual, by_terms);
    const double rarity = options.knock_rarity * std::log(sigma_rad / ladder.sigmas_rad.front());
    for (std::size_t k = 0; k < candidates.size(); ++k) {
      const double now = belief.log_likelihood - rarity +
                         log_likelihood(predicted, manual, candidates[k], options.wrong_tie_share);
      best_of[k] = std::max(best_of[k], now);
      if (now <= best.log_likelihood) continue;
      best.flex_rad = sigma_rad;
      best.wrong = candidates[k];
      best.log_likelihood = now;
    }
  }
  find_rival(candidates, best_of, best);
  return best;
}

}  // namespace seamwright
