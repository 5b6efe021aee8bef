#include "sampling/spline_plane.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"

namespace seamwright {

namespace {

// The pole of the cubic B-spline's recursive prefilter, √3 − 2.
constexpr float kPole = -0.26794919243112270F;
constexpr float kGain = 6.0F;   // (1 − z)(1 − 1/z)
constexpr int kHorizon = 14;    // z¹⁴ < 1e-8
constexpr int kPerStep = 16;    // entries of the correlation table a sample
constexpr int kReachSteps = 6;  // beyond which noise is taken as uncorrelated

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

constexpr int kAbreast = 8;  // rows whose recursions do not wait for one another

// The same in kAbreast rows, `stride` apart, along each.
void prefilter_rows(float* data, int count, std::size_t stride) {
  std::array<float, kAbreast> state{};
  const auto at = [&](std::size_t j) { return data + j * stride; };
  const int horizon = std::min(count, kHorizon);
  for (std::size_t j = 0; j < kAbreast; ++j) {
    float power = kPole;
    state[j] = at(j)[0];
    for (int i = 1; i < horizon; ++i, power *= kPole) state[j] += power * at(j)[i];
    at(j)[0] = state[j];
  }
  for (int i = 1; i < count; ++i) {
    for (std::size_t j = 0; j < kAbreast; ++j) {
      state[j] = at(j)[i] + kPole * state[j];
      at(j)[i] = state[j];
    }
  }
  for (std::size_t j = 0; j < kAbreast; ++j) {
    const float beside = at(j)[std::max(0, count - 2)];
    state[j] = kGain * (kPole / (kPole * kPole - 1.0F)) * (state[j] + kPole * beside);
    at(j)[count - 1] = state[j];
  }
  for (int i = count - 2; i >= 0; --i) {
    for (std::size_t j = 0; j < kAbreast; ++j) {
      state[j] = kPole * (state[j] - kGain * at(j)[i]);
      at(j)[i] = state[j];
    }
  }
}

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

std::vector<double> gaussian(double sigma_px) {
  const int reach = std::max(1, static_cast<int>(std::ceil(4 * sigma_px)));
  std::vector<double> taps;
  double sum = 0;
  for (int k = -reach; k <= reach; ++k) {
    taps.push_back(std::exp(-0.5 * k * k / (sigma_px * sigma_px)));
    sum += taps.back();
  }
  for (double& tap : taps) tap /= sum;
  return taps;
}

// Autocorrelation of the taps at a whole lag.
double tap_correlation(const std::vector<double>& taps, int lag) {
  double sum = 0;
  for (std::size_t i = static_cast<std::size_t>(std::abs(lag)); i < taps.size(); ++i) {
    sum += taps[i] * taps[i - static_cast<std::size_t>(std::abs(lag))];
  }
  return sum;
}

// Autocorrelation of the cardinal spline at kPerStep lags a sample, from 0.
std::vector<double> cardinal_correlation() {
  constexpr int kReach = 10 * kPerStep;
  std::vector<double> kernel;
  for (int i = -kReach; i <= kReach; ++i) kernel.push_back(cardinal(1.0 * i / kPerStep));
  std::vector<double> sums(kernel.size(), 0);
  for (std::size_t lag = 0; lag < kernel.size(); ++lag) {
    for (std::size_t i = lag; i < kernel.size(); ++i) sums[lag] += kernel[i] * kernel[i - lag];
  }
  return sums;
}

// The blurred samples are Σ G_k n_(step·m + k); the spline mixes them with its cardinal kernel.
std::vector<double> correlation_table(const std::vector<double>& taps, int step) {
  static const std::vector<double> of_cardinal = cardinal_correlation();
  const auto cardinal_at = [&](int lag) {
    const auto i = static_cast<std::size_t>(std::abs(lag));
    return i < of_cardinal.size() ? of_cardinal[i] : 0.0;
  };
  std::vector<double> table;
  for (int lag = 0; lag <= kReachSteps * kPerStep; ++lag) {
    double sum = 0;
    for (int j = -8; j <= 8; ++j) {
      sum += tap_correlation(taps, step * j) * cardinal_at(lag - j * kPerStep);
    }
    table.push_back(sum);
  }
  const double peak = table[0];
  for (double& value : table) value /= peak;
  return table;
}

}  // namespace

SplinePlane::SplinePlane(const Image& grey, double blur_px, int step)
    : width_((grey.width() - 1) / step + 1), height_((grey.height() - 1) / step + 1), step_(step) {
  assert(grey.channels() == Channels::grey && grey.type() == SampleType::f32);
  const std::vector<double> taps = gaussian(blur_px);
  correlation_ = correlation_table(taps, step);
  const std::vector<float> kernel(taps.begin(), taps.end());
  const int reach = static_cast<int>(taps.size() / 2);
  const auto stride = static_cast<std::size_t>(width_);
  const auto mirror = [](int i, int count) {
    if (i < 0) i = -i;
    if (i >= count) i = 2 * (count - 1) - i;
    return std::clamp(i, 0, count - 1);
  };

  // Down first, so that the rows of the picture are read in order.
  coefficients_.resize(stride * static_cast<std::size_t>(height_));
  const auto blur_row = [&](int y, std::vector<float>& column_sum) {
    column_sum.assign(static_cast<std::size_t>(grey.width()), 0.0F);
    for (int k = -reach; k <= reach; ++k) {
      const auto from = grey.row<float>(mirror(y * step + k, grey.height()));
      const float tap = kernel[static_cast<std::size_t>(k + reach)];
      for (std::size_t x = 0; x < column_sum.size(); ++x) column_sum[x] += tap * from[x];
    }
    float* row = coefficients_.data() + static_cast<std::size_t>(y) * stride;
    for (int x = 0; x < width_; ++x) row[x] = 0;
    for (int k = -reach; k <= reach; ++k) {
      const float tap = kernel[static_cast<std::size_t>(k + reach)];
      const float* from = column_sum.data() + k;
      // Straight where no tap lies beyond the border.
      const int first = std::min(width_, (std::max(0, -k) + step - 1) / step);
      const int last = std::max(first, (grey.width() - 1 - std::max(0, k)) / step + 1);
      for (int x = 0; x < first; ++x) {
        row[x] += tap * column_sum[static_cast<std::size_t>(mirror(x * step + k, grey.width()))];
      }
      if (step == 1) {
        for (int x = first; x < last; ++x) row[x] += tap * from[x];
      } else {
        for (int x = first; x < last; ++x) row[x] += tap * from[x * step];
      }
      for (int x = last; x < width_; ++x) {
        row[x] += tap * column_sum[static_cast<std::size_t>(mirror(x * step + k, grey.width()))];
      }
    }
  };
  parallel_for(0, (height_ + kAbreast - 1) / kAbreast, [&](int group) {
    const int begin = group * kAbreast;
    const int end = std::min(height_, begin + kAbreast);
    std::vector<float> column_sum;
    for (int y = begin; y < end; ++y) blur_row(y, column_sum);
    float* first = coefficients_.data() + static_cast<std::size_t>(begin) * stride;
    if (end - begin == kAbreast) return prefilter_rows(first, width_, stride);
    for (int y = begin; y < end; ++y, first += stride) prefilter(first, width_, 1, 1);
  });
  constexpr int kBand = 64;
  parallel_for(0, (width_ + kBand - 1) / kBand, [&](int band) {
    const int x = band * kBand;
    prefilter(coefficients_.data() + x, height_, stride, std::min(kBand, width_ - x));
  });
}

float SplinePlane::value(double u, double v) const {
  const double x = plane_px(u);
  const double y = plane_px(v);
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
  const double x = plane_px(u);
  const double y = plane_px(v);
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
  const float per_px = 1.0F / static_cast<float>(step_);
  sum.du *= per_px;
  sum.dv *= per_px;
  return sum;
}

double SplinePlane::noise_correlation(double lag_px) const {
  const double at = std::abs(lag_px) / step_ * kPerStep;
  const auto index = static_cast<std::size_t>(at);
  if (index + 1 >= correlation_.size()) return 0;
  const double rest = at - static_cast<double>(index);
  return correlation_[index] * (1 - rest) + correlation_[index + 1] * rest;
}

}  // namespace seamwright
