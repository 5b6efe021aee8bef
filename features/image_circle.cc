#include "features/image_circle.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <optional>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include <Eigen/Dense>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "base/parallel.h"
#include "imaging/convert.h"

namespace seamwright {

namespace {

constexpr int kCoarseSide_px = 1024;
constexpr int kRimTurns = 4;  // each suits its window better to the softness of the rim

struct Circle {
  Vec2 centre = Vec2::Zero();
  double radius = 0;

  double outside_by(const Vec2& px) const { return (px - centre).norm() - radius; }
};

// The grey picture at full size, and a small one without isolated hot pixels. Positions are always
// those of the full size.
struct Picture {
  cv::Mat full;
  cv::Mat coarse;
  double step_px = 1;  // one coarse pixel

  double width() const { return full.cols; }
  double height() const { return full.rows; }
  bool contains(const Vec2& px, double margin) const {
    return px.x() >= margin && px.y() >= margin && px.x() <= width() - margin &&
           px.y() <= height() - margin;
  }
};

double bilinear(const cv::Mat& grey, double u, double v) {
  const double x = std::clamp(u - 0.5, 0.0, grey.cols - 1.0);
  const double y = std::clamp(v - 0.5, 0.0, grey.rows - 1.0);
  const int x0 = std::min(static_cast<int>(x), std::max(0, grey.cols - 2));
  const int y0 = std::min(static_cast<int>(y), std::max(0, grey.rows - 2));
  const double ax = x - x0;
  const double ay = y - y0;
  const auto* top = grey.ptr<float>(y0) + x0;
  const auto* bottom = grey.ptr<float>(std::min(y0 + 1, grey.rows - 1)) + x0;
  const int right = grey.cols > 1 ? 1 : 0;
  const double above =
      static_cast<double>(top[0]) * (1 - ax) + static_cast<double>(top[right]) * ax;
  const double below =
      static_cast<double>(bottom[0]) * (1 - ax) + static_cast<double>(bottom[right]) * ax;
  return above * (1 - ay) + below * ay;
}

double coarse_at(const Picture& picture, const Vec2& px) {
  return bilinear(picture.coarse, px.x() * picture.coarse.cols / picture.width(),
                  px.y() * picture.coarse.rows / picture.height());
}

Picture picture_of(const Image& image) {
  const Image grey = to_grey_f32(image);
  Picture picture;
  picture.full.create(grey.height(), grey.width(), CV_32F);
  for (int y = 0; y < grey.height(); ++y) {
    const auto row = grey.row<float>(y);
    std::copy(row.begin(), row.end(), picture.full.ptr<float>(y));
  }
  const int side = std::max(grey.width(), grey.height());
  const int shrink = (side + kCoarseSide_px - 1) / kCoarseSide_px;
  cv::Mat without_hot_pixels;
  cv::medianBlur(picture.full, without_hot_pixels, 3);
  cv::resize(without_hot_pixels, picture.coarse,
             {std::max(1, grey.width() / shrink), std::max(1, grey.height() / shrink)}, 0, 0,
             cv::INTER_AREA);
  picture.step_px = static_cast<double>(side) / std::max(picture.coarse.cols, picture.coarse.rows);
  return picture;
}

template <class T>
T quantile(std::vector<T> values, double share) {
  const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

// Level of the dark surround and the least rise above it that is light and not noise.
struct Surround {
  double level = 0;
  double least_rise = 0;
  double bright = 0;  // above this over the level, a pixel surely belongs to the scene
};

std::vector<float> values_of(const cv::Mat& grey) {
  std::vector<float> values;
  for (int y = 0; y < grey.rows; ++y) {
    values.insert(values.end(), grey.ptr<float>(y), grey.ptr<float>(y) + grey.cols);
  }
  return values;
}

// From the two darkest corners: a circle leaves all of them dark, stray light may spoil some.
std::optional<Surround> surround_of(const Picture& picture, SampleType type) {
  const cv::Mat& grey = picture.coarse;
  const int side = std::max(4, std::min(grey.cols, grey.rows) / 25);
  if (grey.cols < 4 * side || grey.rows < 4 * side) return std::nullopt;
  struct Corner {
    float level, deviation;
  };
  std::vector<Corner> corners;
  for (const int x : {0, grey.cols - side}) {
    for (const int y : {0, grey.rows - side}) {
      std::vector<float> values = values_of(grey(cv::Rect(x, y, side, side)));
      const float level = quantile(values, 0.5);
      for (float& value : values) value = std::abs(value - level);
      corners.push_back({level, quantile(values, 0.5)});
    }
  }
  std::sort(corners.begin(), corners.end(),
            [](const Corner& a, const Corner& b) { return a.level < b.level; });
  const double brightest = static_cast<double>(quantile(values_of(grey), 0.98));
  const double level = static_cast<double>(corners[1].level);
  const double deviation =
      static_cast<double>(std::max(corners[0].deviation, corners[1].deviation));
  // Half a code value of 8 bits; finer samples are told from the surround by their noise.
  const double quantum = type == SampleType::u8 ? 0.5 / 255 : 0.001 * (brightest - level);
  const double least_rise = std::max(6 * 1.4826 * deviation, quantum);
  const Surround surround{level, least_rise, std::max(4 * least_rise, 0.1 * (brightest - level))};
  if (brightest - level < 4 * surround.least_rise) return std::nullopt;
  return surround;
}

// Where a ray's brightness rises steeply, and to what above the surround.
struct Rise {
  Vec2 px = Vec2::Zero();
  double light = 0;
};

// Those of one ray, outermost first.
using Rises = std::vector<Rise>;

Rises rises_along(const Picture& picture, const Surround& surround, const Vec2& from,
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

std::vector<Rises> all_rises(const Picture& picture, const Surround& surround, const Vec2& from,
                             int rays) {
  std::vector<Rises> rises(static_cast<std::size_t>(rays));
  parallel_for(0, rays, [&](int i) {
    rises[static_cast<std::size_t>(i)] = rises_along(picture, surround, from, 2 * kPi * i / rays);
  });
  return rises;
}

std::optional<Circle> circle_through(const Vec2& a, const Vec2& b, const Vec2& c) {
  Mat2 sides;
  sides << (b - a).transpose(), (c - a).transpose();
  const double area = sides.determinant();
  if (std::abs(area) < 1e-9) return std::nullopt;
  const Vec2 from_a = sides.inverse() * Vec2((b - a).squaredNorm() / 2, (c - a).squaredNorm() / 2);
  return Circle{a + from_a, from_a.norm()};
}

// One Gauss–Newton step of the geometric fit; false where the points do not determine a circle.
bool fit_step(const std::vector<Vec2>& points, const std::vector<double>& weights, Circle& circle) {
  Mat3 normal = Mat3::Zero();
  Vec3 gradient = Vec3::Zero();
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Vec2 outward = (points[i] - circle.centre).normalized();
    const Vec3 slope(-outward.x(), -outward.y(), -1);
    normal += weights[i] * slope * slope.transpose();
    gradient += weights[i] * circle.outside_by(points[i]) * slope;
  }
  const Eigen::LDLT<Mat3> solver(normal);
  if (solver.info() != Eigen::Success || solver.rcond() < 1e-9) return false;
  const Vec3 step = solver.solve(-gradient);
  circle.centre += step.head<2>();
  circle.radius += step.z();
  return step.allFinite();
}

bool plausible(const Circle& circle, const Picture& picture, const ImageCircleOptions& options) {
  const double shorter = std::min(picture.width(), picture.height());
  const double diagonal = std::hypot(picture.width(), picture.height());
  return circle.radius >= options.smallest_radius * shorter &&
         circle.radius <= options.largest_radius * diagonal &&
         picture.contains(circle.centre, -0.1 * shorter);
}

double tolerance_of(const Circle& circle, const Picture& picture) {
  return std::max(1.5 * picture.step_px, 0.004 * circle.radius);
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

std::optional<Circle> consensus_circle(const std::vector<Rises>& rays, const Picture& picture,
                                       const ImageCircleOptions& options) {
  constexpr int kTrials = 12000;
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
  for (int trial = 0; trial < kTrials; ++trial) {
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

// Share of the frame that is bright though it lies outside the circle.
double light_outside(const Picture& picture, const Surround& surround, const Circle& circle) {
  const double tolerance = 2 * tolerance_of(circle, picture);
  int bright = 0;
  for (int y = 0; y < picture.coarse.rows; ++y) {
    for (int x = 0; x < picture.coarse.cols; ++x) {
      const Vec2 px((x + 0.5) * picture.width() / picture.coarse.cols,
                    (y + 0.5) * picture.height() / picture.coarse.rows);
      const double light = static_cast<double>(picture.coarse.at<float>(y, x)) - surround.level;
      if (circle.outside_by(px) > tolerance && light > surround.bright) ++bright;
    }
  }
  return bright / (static_cast<double>(picture.coarse.rows) * picture.coarse.cols);
}

// Brightness along one ray across the rim at full size, averaged over the ray's share of the rim.
struct RimProfile {
  std::vector<double> light;  // inside first
  double begin = 0;           // radius of light[0], px
  double step = 0.5;
};

std::optional<RimProfile> rim_profile(const Picture& picture, const Circle& circle, int ray,
                                      int rays, double reach_px) {
  const double sector = 2 * kPi / rays;
  const int neighbours = std::clamp(static_cast<int>(circle.radius * sector), 1, 16);
  RimProfile profile;
  profile.begin = circle.radius - reach_px;
  profile.light.assign(static_cast<std::size_t>(2 * reach_px / profile.step) + 1, 0);
  for (int n = 0; n < neighbours; ++n) {
    const double angle = sector * (ray + (n + 0.5) / neighbours - 0.5);
    const Vec2 along(std::cos(angle), std::sin(angle));
    if (!picture.contains(circle.centre + (circle.radius + reach_px) * along, 1) ||
        !picture.contains(circle.centre + profile.begin * along, 1)) {
      return std::nullopt;
    }
    for (std::size_t k = 0; k < profile.light.size(); ++k) {
      const Vec2 px =
          circle.centre + (profile.begin + static_cast<double>(k) * profile.step) * along;
      profile.light[k] += bilinear(picture.full, px.x(), px.y()) / neighbours;
    }
  }
  return profile;
}

// The rim is where light ends: the foot of the profile's outermost strong rise, this share of it.
constexpr double kFootShare = 0.05;
// By how much the foot of a perfectly sharp rim lies outside of it, from the pixels' own extent and
// the interpolation between them.
constexpr double kPixelBlur_px = 0.88;

struct Crossing {
  double radius_px = 0;
  double softness_px = 0;  // from the foot to half of the rise
};

// Position k, in samples, where the profile falls through `level`, from outside.
std::optional<double> falls_through(const RimProfile& profile, double level, int begin, int end) {
  for (int k = end - 1; k > begin; --k) {
    const double inner = profile.light[static_cast<std::size_t>(k - 1)];
    const double outer = profile.light[static_cast<std::size_t>(k)];
    if (inner >= level && outer < level) return k - 1 + (inner - level) / (inner - outer);
  }
  return std::nullopt;
}

// The rim in a profile, told from `window_px` on both sides of its outermost strong rise; empty
// where it is dark up to the rim.
std::optional<Crossing> crossing_of(const RimProfile& profile, const Surround& surround,
                                    double window_px) {
  const int count = static_cast<int>(profile.light.size());
  const int half = std::max(2, static_cast<int>(window_px / profile.step));
  const auto mean = [&](int begin, int end) {
    double sum = 0;
    for (int k = begin; k < end; ++k) sum += profile.light[static_cast<std::size_t>(k)];
    return sum / (end - begin);
  };
  const auto rise_at = [&](int k) { return mean(k - half, k) - mean(k, k + half); };
  double steepest = 0;
  for (int k = half; k <= count - half; ++k) steepest = std::max(steepest, rise_at(k));
  if (steepest < surround.least_rise) return std::nullopt;
  int at = count - half;
  while (rise_at(at) < std::max(surround.least_rise, steepest / 3)) --at;
  while (at > half && rise_at(at - 1) >= rise_at(at)) --at;
  const int begin = at - 2 * half;
  const int end = at + 2 * half;
  if (begin < 0 || end > count) return std::nullopt;
  const double inside = mean(begin, at - half);
  const double outside = mean(at + half, end);
  const double contrast = inside - outside;
  if (contrast < std::max(surround.least_rise, (outside - surround.level) / 2)) {
    return std::nullopt;
  }
  const double foot = std::max(kFootShare * contrast, surround.least_rise / 2);
  const auto low = falls_through(profile, outside + std::min(foot, contrast / 2), begin, end);
  const auto middle = falls_through(profile, outside + contrast / 2, begin, end);
  if (!low || !middle) return std::nullopt;
  return Crossing{profile.begin + profile.step * *low - kPixelBlur_px,
                  profile.step * (*low - *middle)};
}

struct RimPoints {
  std::vector<Vec2> px;
  double softness_px = 0;  // median
};

RimPoints rim_points(const Picture& picture, const Surround& surround, const Circle& circle,
                     int rays, double window_px) {
  const double reach_px = 4 * window_px + 4;
  std::vector<std::optional<Crossing>> found(static_cast<std::size_t>(rays));
  parallel_for(0, rays, [&](int i) {
    const auto profile = rim_profile(picture, circle, i, rays, reach_px);
    if (profile) found[static_cast<std::size_t>(i)] = crossing_of(*profile, surround, window_px);
  });
  RimPoints points;
  std::vector<double> softness;
  for (int i = 0; i < rays; ++i) {
    const auto& crossing = found[static_cast<std::size_t>(i)];
    if (!crossing) continue;
    const double angle = 2 * kPi * i / rays;
    points.px.emplace_back(circle.centre +
                           crossing->radius_px * Vec2(std::cos(angle), std::sin(angle)));
    softness.push_back(crossing->softness_px);
  }
  if (!softness.empty()) points.softness_px = quantile(softness, 0.5);
  return points;
}

struct RimFit {
  Circle circle;
  double residual_px = 0;
  int used = 0;
};

// Iteratively reweighted with Tukey's biweight; its scale shrinks from `start_px` to the MAD.
std::optional<RimFit> fit_rim(const std::vector<Vec2>& points, Circle circle, double start_px) {
  constexpr double kTukey = 4.685;  // 95 % efficiency on normal noise
  constexpr double kLeastScale_px = 0.02;
  if (points.size() < 12) return std::nullopt;
  std::vector<double> weights(points.size());
  double scale = start_px;
  for (int turn = 0; turn < 30; ++turn) {
    std::vector<double> distances;
    for (std::size_t i = 0; i < points.size(); ++i) {
      const double distance = std::abs(circle.outside_by(points[i]));
      const double q = distance / (kTukey * scale);
      weights[i] = q < 1 ? (1 - q * q) * (1 - q * q) : 0;
      if (q < 1) distances.push_back(distance);
    }
    if (distances.size() < 12 || !fit_step(points, weights, circle)) return std::nullopt;
    scale = std::clamp(1.4826 * quantile(distances, 0.5), kLeastScale_px, scale);
  }
  RimFit fit{.circle = circle};
  double sum = 0;
  double weight_sum = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double distance = circle.outside_by(points[i]);
    sum += weights[i] * distance * distance;
    weight_sum += weights[i];
    if (weights[i] > 0) ++fit.used;
  }
  fit.residual_px = std::sqrt(sum / weight_sum);
  return fit;
}

tl::unexpected<Error> none_found(std::string what) {
  return fail({.kind = ErrorKind::numeric,
               .where = {},
               .field = "image circle",
               .what = std::move(what),
               .remedy = "give a circular fisheye frame, or the circle by hand"});
}

}  // namespace

Result<ImageCircle> find_image_circle(const Image& image, const ImageCircleOptions& options) {
  assert(options.rays >= 90 && options.rays <= 7200);
  if (image.empty() || std::min(image.width(), image.height()) < 64) {
    return none_found("the picture is smaller than 64 px");
  }
  const Picture picture = picture_of(image);
  const auto surround = surround_of(picture, image.type());
  if (!surround) return none_found("no light, or no corner darker than the picture");

  std::optional<Circle> circle;
  Vec2 from(picture.width() / 2, picture.height() / 2);
  for (int turn = 0; turn < 2; ++turn) {
    const auto rays = all_rises(picture, *surround, from, options.rays);
    circle = consensus_circle(rays, picture, options);
    if (!circle) return none_found("no dark surround around a bright disc");
    if (!picture.contains(circle->centre, 8 * picture.step_px)) break;
    from = circle->centre;
  }
  if (light_outside(picture, *surround, *circle) > options.most_light_outside) {
    return none_found("the picture is bright outside of any circle");
  }

  RimFit fit{.circle = *circle};
  double window_px = std::max(2.0, 2 * picture.step_px);
  for (int turn = 0; turn < kRimTurns; ++turn) {
    const RimPoints points = rim_points(picture, *surround, fit.circle, options.rays, window_px);
    const auto refined = fit_rim(points.px, fit.circle, tolerance_of(fit.circle, picture) / 2);
    if (!refined) return none_found("too little of the rim is lit");
    fit = *refined;
    window_px = std::clamp(2 * points.softness_px, 2.0, std::max(2.0, 0.01 * fit.circle.radius));
  }
  const double coverage = static_cast<double>(fit.used) / options.rays;
  if (coverage < options.least_coverage || !plausible(fit.circle, picture, options)) {
    return none_found("too little of the rim is lit");
  }
  return ImageCircle{fit.circle.centre, fit.circle.radius, fit.residual_px, coverage};
}

}  // namespace seamwright
