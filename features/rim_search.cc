#include "features/rim_search.h"

#include <algorithm>
#include <cmath>
#include <random>

#include "base/parallel.h"

namespace seamwright::rim {

namespace {

Rises rises_along(const GreyPicture& picture, const Surround& surround, const Vec2& from,
                  double angle_rad) {
  constexpr int kReach = 4;  // samples on either side that a rise is told from
  constexpr std::size_t kMost = 4;
  const Vec2 along(std::cos(angle_rad), std::sin(angle_rad));
  std::vector<double> light;
  for (int k = 0; picture.contains(from + k * picture.step_px * along, 0); ++k) {
    light.push_back(coarse_at(picture, from + k * picture.step_px * along) - surround.level);
  }
  const int count = static_cast<int>(light.size());
  const auto mean = [&](int begin) {
    double sum = 0;
    for (int k = begin; k < begin + kReach; ++k) sum += light[static_cast<std::size_t>(k)];
    return sum / kReach;
  };
  // Inwards between samples k and k − 1. Stray light outside the rim falls off slowly: it does not
  // grow by half over so short a way.
  const auto rise_at = [&](int k) {
    const double inside = mean(k - kReach);
    const double outside = mean(k);
    const double rise = inside - outside;
    return rise >= surround.least_rise && rise >= outside / 2 ? rise : 0;
  };
  Rises rises;
  for (int k = count - kReach; k >= kReach && rises.size() < kMost; --k) {
    if (rise_at(k) <= 0) continue;
    int best = k;
    while (best - 1 >= kReach && rise_at(best - 1) >= rise_at(best)) --best;
    rises.push_back({from + (best - 0.5) * picture.step_px * along, mean(best - kReach)});
    k = best - 2 * kReach;
  }
  return rises;
}

// The rise of a ray that lies on the circle, if there is one.
const Rise* rise_on(const Rises& rises, const Circle& circle, double tolerance) {
  for (const Rise& rise : rises) {
    if (std::abs(circle.outside_by(rise.px)) <= tolerance) return &rise;
  }
  return nullptr;
}

// What most rays rise to at their brightest.
double usual_light(const std::vector<Rises>& rays) {
  std::vector<double> lights;
  for (const Rises& rises : rays) {
    double most = 0;
    for (const Rise& rise : rises) most = std::max(most, rise.light);
    if (most > 0) lights.push_back(most);
  }
  return lights.empty() ? 0 : quantile(lights, 0.5);
}

// How well rays agree with a circle. A rise on it counts for it. One close by counts against it by
// half: where rises are strewn evenly, the two cancel. Light outside counts against it by its
// brightness, compared with the ray's own rise at the rim if that is brighter than usual: halos are
// allowed.
double score_of(const std::vector<Rises>& rays, const Circle& circle, double tolerance,
                double usual) {
  constexpr double kSureShare = 1.0 / 8;  // of the usual light: surely not a halo
  double score = 0;
  for (const Rises& rises : rays) {
    double nearest = 3 * tolerance;
    double outside = 0;
    double rim = usual;
    for (const Rise& rise : rises) {
      const double distance = circle.outside_by(rise.px);
      if (std::abs(distance) < nearest) {
        nearest = std::abs(distance);
        if (nearest <= tolerance) rim = std::max(usual, rise.light);
      }
      if (distance > tolerance) outside = std::max(outside, rise.light);
    }
    if (nearest <= tolerance) {
      score += 1;
    } else if (nearest < 3 * tolerance) {
      score -= 0.5;
    }
    score -= std::min(1.0, outside / (kSureShare * rim));
  }
  return score;
}

// Trials after which a circle that this share of the points lie on was drawn, all but surely.
int enough_trials(double share) {
  constexpr int kLeast = 200;
  constexpr int kMost = 12000;
  const double hit = share * share * share;
  if (hit >= 1) return kLeast;
  const double trials = std::log(1e-9) / std::log1p(-hit);
  return hit <= 0 || trials > kMost ? kMost : std::max(kLeast, static_cast<int>(trials));
}

}  // namespace

std::vector<Rises> all_rises(const GreyPicture& picture, const Surround& surround, const Vec2& from,
                             int rays) {
  std::vector<Rises> rises(static_cast<std::size_t>(rays));
  parallel_for(0, rays, [&](int i) {
    rises[static_cast<std::size_t>(i)] = rises_along(picture, surround, from, 2 * kPi * i / rays);
  });
  return rises;
}

bool plausible(const Circle& circle, const GreyPicture& picture,
               const ImageCircleOptions& options) {
  const double shorter = std::min(picture.width(), picture.height());
  const double diagonal = std::hypot(picture.width(), picture.height());
  return circle.radius >= options.smallest_radius * shorter &&
         circle.radius <= options.largest_radius * diagonal &&
         picture.contains(circle.centre, -0.1 * shorter);
}

double tolerance_of(const Circle& circle, const GreyPicture& picture) {
  return std::max(1.5 * picture.step_px, 0.004 * circle.radius);
}

std::optional<Circle> consensus_circle(const std::vector<Rises>& rays, const GreyPicture& picture,
                                       const ImageCircleOptions& options) {
  constexpr int kPolishTurns = 4;
  std::vector<Vec2> points;
  for (const Rises& rises : rays) {
    if (!rises.empty()) points.push_back(rises.front().px);
  }
  if (points.size() < 12) return std::nullopt;
  std::mt19937_64 random(1);
  const auto pick = [&] { return points[random() % points.size()]; };
  std::optional<Circle> best;
  double best_score = 0;
  const double usual = usual_light(rays);
  const auto share = [&] { return best_score / static_cast<double>(points.size()); };
  for (int trial = 0; trial < enough_trials(share()); ++trial) {
    auto circle = circle_through(pick(), pick(), pick());
    if (!circle || !plausible(*circle, picture, options)) continue;
    double score = score_of(rays, *circle, tolerance_of(*circle, picture), usual);
    // A promising circle is polished on its own consensus before it is judged.
    for (int turn = 0; turn < kPolishTurns && 2 * score >= best_score && score > 0; ++turn) {
      Circle polished = *circle;
      std::vector<Vec2> on_it;
      for (const Rises& rises : rays) {
        if (const Rise* rise = rise_on(rises, polished, tolerance_of(polished, picture))) {
          on_it.push_back(rise->px);
        }
      }
      if (!fit_step(on_it, std::vector<double>(on_it.size(), 1.0), polished)) break;
      const double polished_score =
          score_of(rays, polished, tolerance_of(polished, picture), usual);
      if (polished_score <= score || !plausible(polished, picture, options)) break;
      circle = polished;
      score = polished_score;
    }
    if (score > best_score) {
      best = circle;
      best_score = score;
    }
  }
  return best;
}

Outside outside_of(const GreyPicture& picture, const Surround& surround, const Circle& circle) {
  const double tolerance = 2 * tolerance_of(circle, picture);
  int pixels = 0;
  int bright = 0;
  for (int y = 0; y < picture.coarse.rows; ++y) {
    for (int x = 0; x < picture.coarse.cols; ++x) {
      const Vec2 px((x + 0.5) * picture.width() / picture.coarse.cols,
                    (y + 0.5) * picture.height() / picture.coarse.rows);
      if (circle.outside_by(px) <= tolerance) continue;
      ++pixels;
      if (static_cast<double>(picture.coarse.at<float>(y, x)) > surround.level + surround.bright) {
        ++bright;
      }
    }
  }
  Outside outside{.light = pixels > 0 ? static_cast<double>(bright) / pixels : 0};
  for (const double u : {0.0, picture.width()}) {
    for (const double v : {0.0, picture.height()}) {
      if (circle.outside_by({u, v}) > tolerance) ++outside.corners;
    }
  }
  return outside;
}

}  // namespace seamwright::rim
