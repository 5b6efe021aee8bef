#include "compose/finish/patch_search.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "base/parallel.h"

namespace seamwright {

namespace {

// Misfit of a pixel that is mere noise: 0.3 % of white in each colour.
constexpr float kNoise = 3e-5F;

// Steele, Lea, Flood 2014 (SplitMix64): a number for a place, without an order of drawing.
std::uint64_t mixed(std::uint64_t x) {
  x += 0x9E3779B97F4A7C15U;
  x = (x ^ (x >> 30U)) * 0xBF58476D1CE4E5B9U;
  x = (x ^ (x >> 27U)) * 0x94D049BB133111EBU;
  return x ^ (x >> 31U);
}

cv::Mat1b dilated(const cv::Mat1b& mask, int radius) {
  cv::Mat1b out;
  cv::dilate(mask, out, cv::Mat::ones(2 * radius + 1, 2 * radius + 1, CV_8U));
  return out;
}

}  // namespace

PatchScale::PatchScale(cv::Mat3f picture, cv::Mat1b hole, double hole_px, std::uint64_t seed)
    : picture_(std::move(picture)), hole_(std::move(hole)), hole_px_(hole_px), seed_(seed) {
  const cv::Mat1b touched = dilated(hole_, kRadius);
  const cv::Rect inside(kRadius, kRadius, picture_.cols - 2 * kRadius, picture_.rows - 2 * kRadius);
  target_ = cv::Mat1b::zeros(hole_.size());
  source_ = cv::Mat1b::zeros(hole_.size());
  if (inside.width > 0 && inside.height > 0) {
    touched(inside).copyTo(target_(inside));
    cv::Mat1b untouched;
    cv::compare(touched(inside), 0, untouched, cv::CMP_EQ);
    untouched.copyTo(source_(inside));
  }
  for (int y = 0; y < source_.rows; ++y) {
    for (int x = 0; x < source_.cols; ++x) {
      if (source_(y, x) != 0) sources_.push_back({x, y});
    }
  }
  cv::distanceTransform(hole_, depth_, cv::DIST_L2, cv::DIST_MASK_5);
  const auto count = static_cast<std::size_t>(hole_.total());
  match_.resize(count);
  cost_.resize(count);
}

bool PatchScale::is_source(int x, int y) const {
  return x >= 0 && y >= 0 && x < source_.cols && y < source_.rows && source_(y, x) != 0;
}

// Factor on a source's misfit.
float PatchScale::farness(Place target, Place source) const {
  const double dx = (target.x - source.x) / (3 * hole_px_);
  const double dy = (target.y - source.y) / (3 * hole_px_);
  return static_cast<float>(1 + dx * dx + dy * dy);
}

float PatchScale::distance(Place target, Place source, float limit) const {
  constexpr float kFloor = kNoise * (2 * kRadius + 1) * (2 * kRadius + 1);
  const float far = farness(target, source);
  float sum = kFloor;
  for (int dy = -kRadius; dy <= kRadius && far * sum < limit; ++dy) {
    const auto* a = picture_.ptr<float>(target.y + dy) + 3 * (target.x - kRadius);
    const auto* b = picture_.ptr<float>(source.y + dy) + 3 * (source.x - kRadius);
    float line = 0;
    for (int i = 0; i < 3 * (2 * kRadius + 1); ++i) line += (a[i] - b[i]) * (a[i] - b[i]);
    sum += line;
  }
  return far * sum;
}

void PatchScale::guess() {
  for (int y = 0; y < target_.rows; ++y) {
    for (int x = 0; x < target_.cols; ++x) {
      if (target_(y, x) == 0) continue;
      const auto at = static_cast<std::size_t>(y * target_.cols + x);
      match_[at] = sources_[mixed(seed_ ^ (at << 8U)) % sources_.size()];
    }
  }
}

PatchScale::Place PatchScale::best_known_fit(Place target, const cv::Mat1b& known) const {
  std::array<int, (2 * kRadius + 1) * (2 * kRadius + 1)> offsets{};  // of known pixels
  std::size_t count = 0;
  for (int dy = -kRadius; dy <= kRadius; ++dy) {
    for (int dx = -kRadius; dx <= kRadius; ++dx) {
      if (known(target.y + dy, target.x + dx) != 0) offsets[count++] = dy * picture_.cols + dx;
    }
  }
  const auto* pixels = picture_.ptr<cv::Vec3f>();
  const cv::Vec3f* here = pixels + target.y * picture_.cols + target.x;
  Place best = sources_.front();
  float least = 1e30F;
  // Some ten thousand places tell as much as all of them.
  constexpr std::size_t kMostTried = 20000;
  const std::size_t step = 1 + sources_.size() / kMostTried;
  for (std::size_t i = 0; i < sources_.size(); i += step) {
    const Place& source = sources_[i];
    const cv::Vec3f* there = pixels + source.y * picture_.cols + source.x;
    const float far = farness(target, source);
    float sum = kNoise * static_cast<float>(count);
    for (std::size_t k = 0; k < count && far * sum < least; ++k) {
      const cv::Vec3f difference = here[offsets[k]] - there[offsets[k]];
      sum += difference.dot(difference);
    }
    if (far * sum < least) {
      least = far * sum;
      best = source;
    }
  }
  return best;
}

void PatchScale::peel() {
  guess();
  cv::Mat1b known;
  cv::compare(hole_, 0, known, cv::CMP_EQ);
  std::vector<Place> order;
  for (int y = 0; y < hole_.rows; ++y) {
    for (int x = 0; x < hole_.cols; ++x) {
      if (hole_(y, x) != 0 && target_(y, x) != 0) order.push_back({x, y});
    }
  }
  std::stable_sort(order.begin(), order.end(), [&](const Place& a, const Place& b) {
    return depth_(a.y, a.x) < depth_(b.y, b.x);
  });
  for (const Place& place : order) {
    const Place from = best_known_fit(place, known);
    picture_(place.y, place.x) = picture_(from.y, from.x);
    known(place.y, place.x) = 255;
    match_[static_cast<std::size_t>(place.y * target_.cols + place.x)] = from;
  }
}

void PatchScale::take_over(const PatchScale& coarser) {
  guess();
  for (int y = 0; y < target_.rows; ++y) {
    for (int x = 0; x < target_.cols; ++x) {
      if (target_(y, x) == 0) continue;
      const int cx = std::min(x / 2, coarser.target_.cols - 1);
      const int cy = std::min(y / 2, coarser.target_.rows - 1);
      if (coarser.target_(cy, cx) == 0) continue;
      const Place& from = coarser.match_[static_cast<std::size_t>(cy * coarser.target_.cols + cx)];
      const Place place{2 * from.x + x % 2, 2 * from.y + y % 2};
      if (is_source(place.x, place.y)) {
        match_[static_cast<std::size_t>(y * target_.cols + x)] = place;
      }
    }
  }
}

void PatchScale::measure() {
  parallel_for(0, target_.rows, [&](int y) {
    for (int x = 0; x < target_.cols; ++x) {
      if (target_(y, x) == 0) continue;
      const auto at = static_cast<std::size_t>(y * target_.cols + x);
      cost_[at] = distance({x, y}, match_[at], 1e30F);
    }
  });
}

// One row, reading the last round's matches only: rows may be done in any order.
void PatchScale::improve(int y, int round, int reach_px) {
  constexpr std::array<int, 3> kSteps = {1, 4, 16};
  const int step = kSteps[static_cast<std::size_t>(round) % kSteps.size()];
  const int width = target_.cols;
  for (int x = 0; x < width; ++x) {
    if (target_(y, x) == 0) continue;
    const auto at = static_cast<std::size_t>(y * width + x);
    Place best = match_[at];
    float least = cost_[at];
    const auto consider = [&](int sx, int sy) {
      if (!is_source(sx, sy)) return;
      const float cost = distance({x, y}, {sx, sy}, least);
      if (cost < least) {
        least = cost;
        best = {sx, sy};
      }
    };
    // What fits beside fits here, moved along.
    for (const int by : {1, step}) {
      for (const auto& [dx, dy] : {std::pair{by, 0}, {-by, 0}, {0, by}, {0, -by}}) {
        const int nx = x + dx;
        const int ny = y + dy;
        if (nx < 0 || ny < 0 || nx >= width || ny >= target_.rows) continue;
        if (target_(ny, nx) == 0) continue;
        const Place& beside = match_[static_cast<std::size_t>(ny * width + nx)];
        consider(beside.x - dx, beside.y - dy);
      }
    }
    std::uint64_t random = mixed(seed_ + at * 64 + static_cast<std::uint64_t>(round));
    for (int reach = reach_px; reach >= 1; reach /= 2) {
      random = mixed(random);
      const auto span = static_cast<std::uint64_t>(2 * reach + 1);
      const int sx = best.x + static_cast<int>((random & 0xFFFFFFFFU) % span) - reach;
      const int sy = best.y + static_cast<int>((random >> 32U) % span) - reach;
      consider(sx, sy);
    }
    next_[at] = best;
    next_cost_[at] = least;
  }
}

void PatchScale::search(int rounds, int reach_px) {
  measure();
  next_ = match_;
  next_cost_ = cost_;
  for (int round = 0; round < rounds; ++round) {
    parallel_for(0, target_.rows, [&](int y) { improve(y, round, reach_px); });
    std::swap(match_, next_);
    std::swap(cost_, next_cost_);
  }
}

void PatchScale::vote(float sharpness) {
  // Scale of the costs: their lower quartile over the hole.
  std::vector<float> costs;
  for (int y = 0; y < target_.rows; ++y) {
    for (int x = 0; x < target_.cols; ++x) {
      if (target_(y, x) != 0)
        costs.push_back(cost_[static_cast<std::size_t>(y * target_.cols + x)]);
    }
  }
  if (costs.empty()) return;
  const auto quartile = costs.begin() + static_cast<std::ptrdiff_t>(costs.size() / 4);
  std::nth_element(costs.begin(), quartile, costs.end());
  const float scale = sharpness / std::max(2 * *quartile, 1e-6F);

  cv::Mat3f voted = picture_.clone();
  parallel_for(0, hole_.rows, [&](int y) {
    for (int x = 0; x < hole_.cols; ++x) {
      if (hole_(y, x) == 0) continue;
      cv::Vec3f sum(0, 0, 0);
      float weights = 0;
      for (int dy = -kRadius; dy <= kRadius; ++dy) {
        for (int dx = -kRadius; dx <= kRadius; ++dx) {
          const int cx = x + dx;
          const int cy = y + dy;
          if (cx < 0 || cy < 0 || cx >= target_.cols || cy >= target_.rows) continue;
          if (target_(cy, cx) == 0) continue;
          const auto at = static_cast<std::size_t>(cy * target_.cols + cx);
          // What lies nearer to the known is known better.
          const float trust = std::exp2(-0.5F * std::min(depth_(cy, cx), 60.0F));
          const float weight = trust * std::exp(-std::min(cost_[at] * scale, 60.0F)) + 1e-30F;
          const Place& from = match_[at];
          sum += weight * picture_(from.y - dy, from.x - dx);
          weights += weight;
        }
      }
      if (weights > 0) voted(y, x) = sum * (1 / weights);
    }
  });
  picture_ = voted;
}

}  // namespace seamwright
