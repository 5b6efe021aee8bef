#include "features/spline_plane.h"

#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"

namespace seamwright {

namespace {

// The pole of the cubic B-spline's recursive prefilter, √3 − 2.
constexpr float kPole = -0.26794919243112270F;
constexpr float kGain = 6.0F;  // (1 − z)(1 − 1/z)
constexpr int kHorizon = 14;   // z¹⁴ < 1e-8

// In-place prefilter of n lines side by side: element i of line j is at data[i * stride + j].
void prefilter(float* data, int count, std::size_t stride, int lines) {
  const auto at = [&](int i) { return data + static_cast<std::size_t>(i) * stride; };
  const int horizon = std::min(count, kHorizon);
  for (int j = 0; j < lines; ++j) {
    float first = data[j];
    float power = kPole;
    for (int i = 1; i < horizon; ++i, power *= kPole) first += power * at(i)[j];
    data[j] = first;
  }
  for (int i = 1; i < count; ++i) {
    float* here = at(i);
    const float* before = at(i - 1);
    for (int j = 0; j < lines; ++j) here[j] += kPole * before[j];
  }
  float* last = at(count - 1);
  const float* beside = at(std::max(0, count - 2));
  for (int j = 0; j < lines; ++j) {
    last[j] = kGain * (kPole / (kPole * kPole - 1.0F)) * (last[j] + kPole * beside[j]);
  }
  for (int i = count - 2; i >= 0; --i) {
    float* here = at(i);
    const float* after = at(i + 1);
    for (int j = 0; j < lines; ++j) here[j] = kPole * (after[j] - kGain * here[j]);
  }
}

struct Weights {
  std::array<float, 4> value;
  std::array<float, 4> slope;
};

std::array<float, 4> weights_at(float t) {
  const float s = 1.0F - t;
  const float t2 = t * t;
  const float s2 = s * s;
  return {s2 * s / 6.0F, 2.0F / 3.0F - t2 * (2.0F - t) * 0.5F, 2.0F / 3.0F - s2 * (2.0F - s) * 0.5F,
          t2 * t / 6.0F};
}

std::array<float, 4> slopes_at(float t) {
  const float s = 1.0F - t;
  return {-0.5F * s * s, t * (1.5F * t - 2.0F), s * (2.0F - 1.5F * s), 0.5F * t * t};
}

// The kernel that B-spline interpolation of samples amounts to, sampled finely: the B-spline
// convolved with the prefilter's impulse response √3 z^|k|.
double cardinal(double x) {
  const auto b_spline = [](double t) {
    t = std::abs(t);
    if (t >= 2) return 0.0;
    if (t >= 1) return (2 - t) * (2 - t) * (2 - t) / 6;
    return 2.0 / 3.0 - t * t * (2 - t) / 2;
  };
  const double root3 = std::sqrt(3.0);
  double sum = 0;
  for (int k = -12; k <= 12; ++k) {
    sum += root3 * std::pow(root3 - 2, std::abs(k)) * b_spline(x - k);
  }
  return sum;
}

}  // namespace

SplinePlane::SplinePlane(const Image& grey) : width_(grey.width()), height_(grey.height()) {
  assert(grey.channels() == Channels::grey && grey.type() == SampleType::f32);
  const auto stride = static_cast<std::size_t>(width_);
  coefficients_.resize(stride * static_cast<std::size_t>(height_));
  parallel_for(0, height_, [&](int y) {
    const auto from = grey.row<float>(y);
    float* row = coefficients_.data() + static_cast<std::size_t>(y) * stride;
    std::copy(from.begin(), from.end(), row);
    prefilter(row, width_, 1, 1);
  });
  constexpr int kBand = 64;
  parallel_for(0, (width_ + kBand - 1) / kBand, [&](int band) {
    const int x = band * kBand;
    prefilter(coefficients_.data() + x, height_, stride, std::min(kBand, width_ - x));
  });
}

float SplinePlane::value(double u, double v) const {
  const double x = u - 0.5;
  const double y = v - 0.5;
  const int left = static_cast<int>(x);
  const int top = static_cast<int>(y);
  const auto wx = weights_at(static_cast<float>(x - left));
  const auto wy = weights_at(static_cast<float>(y - top));
  const float* row =
      coefficients_.data() + static_cast<std::ptrdiff_t>(top - 1) * width_ + (left - 1);
  float sum = 0;
  for (std::size_t j = 0; j < 4; ++j, row += width_) {
    sum += wy[j] * (wx[0] * row[0] + wx[1] * row[1] + wx[2] * row[2] + wx[3] * row[3]);
  }
  return sum;
}

SplinePlane::Sample SplinePlane::sample(double u, double v) const {
  const double x = u - 0.5;
  const double y = v - 0.5;
  const int left = static_cast<int>(x);
  const int top = static_cast<int>(y);
  const auto tx = static_cast<float>(x - left);
  const auto ty = static_cast<float>(y - top);
  const auto wx = weights_at(tx);
  const auto wy = weights_at(ty);
  const auto sx = slopes_at(tx);
  const auto sy = slopes_at(ty);
  const float* row =
      coefficients_.data() + static_cast<std::ptrdiff_t>(top - 1) * width_ + (left - 1);
  Sample sum;
  for (std::size_t j = 0; j < 4; ++j, row += width_) {
    const float along = wx[0] * row[0] + wx[1] * row[1] + wx[2] * row[2] + wx[3] * row[3];
    const float slope = sx[0] * row[0] + sx[1] * row[1] + sx[2] * row[2] + sx[3] * row[3];
    sum.value += wy[j] * along;
    sum.du += wy[j] * slope;
    sum.dv += sy[j] * along;
  }
  return sum;
}

double SplinePlane::noise_correlation(double lag_px) {
  // Autocorrelation of the cardinal spline, tabulated at 1/16 px.
  constexpr int kPerPixel = 16;
  constexpr int kLags = 4 * kPerPixel;
  static const std::array<double, kLags + 2> table = [] {
    constexpr int kReach = 10 * kPerPixel;
    std::array<double, kLags + 2> sums{};
    for (int lag = 0; lag <= kLags + 1; ++lag) {
      double sum = 0;
      for (int i = -kReach; i <= kReach; ++i) {
        sum += cardinal(static_cast<double>(i) / kPerPixel) *
               cardinal(static_cast<double>(i + lag) / kPerPixel);
      }
      sums[static_cast<std::size_t>(lag)] = sum;
    }
    const double peak = sums[0];
    for (double& sum : sums) sum /= peak;
    return sums;
  }();
  const double at = std::abs(lag_px) * kPerPixel;
  if (at >= kLags) return 0;
  const int index = static_cast<int>(at);
  const double rest = at - index;
  const auto i = static_cast<std::size_t>(index);
  return table[i] * (1 - rest) + table[i + 1] * rest;
}

}  // namespace seamwright
