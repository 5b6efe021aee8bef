#include "jobs/brackets/alignment.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "base/catmull_rom.h"
#include "base/parallel.h"
#include "imaging/plane.h"
#include "jobs/brackets/light.h"

namespace seamwright {
namespace {

constexpr int kSmallestSide_px = 48;
constexpr int kMostLevels = 6;
constexpr int kMargin_px = 3;

/// Light over exposure with its variance; variance < 0 where the pixel does not count.
struct Level {
  FloatPlane light;
  FloatPlane variance;
};

// Green, or the only channel.
Level finest_level(const Exposed& frame, const NoiseModel& noise, double clip_level) {
  const Image& image = frame.image;
  const auto step = static_cast<std::size_t>(image.channel_count());
  const std::size_t colours = colour_count(image);
  const std::size_t green = colours == 3 ? 1 : 0;
  Level level{FloatPlane(image.width(), image.height()), FloatPlane(image.width(), image.height())};
  const double scale = 1 / frame.exposure;
  parallel_for(0, image.height(), [&](int y) {
    std::vector<float> row = light_row(image);
    decode_light(image, frame.curve, y, row);
    auto light = level.light.row(y);
    auto variance = level.variance.row(y);
    for (std::size_t x = 0; x < light.size(); ++x) {
      const float* pixel = &row[x * step];
      const auto signal = static_cast<double>(pixel[green]);
      const bool clipped =
          static_cast<double>(*std::max_element(pixel, pixel + colours)) >= clip_level;
      light[x] = static_cast<float>(signal * scale);
      variance[x] =
          clipped ? -1.0F : static_cast<float>(noise.variance(signal, green) * scale * scale);
    }
  });
  return level;
}

Level half_size(const Level& fine) {
  const int width = fine.light.width / 2;
  const int height = fine.light.height / 2;
  Level coarse{FloatPlane(width, height), FloatPlane(width, height)};
  for (int y = 0; y < height; ++y) {
    auto light = coarse.light.row(y);
    auto variance = coarse.variance.row(y);
    for (int x = 0; x < width; ++x) {
      const auto i = static_cast<std::size_t>(x);
      float sum = 0, spread = 0, worst = 0;
      for (int k = 0; k < 4; ++k) {
        const int u = 2 * x + k % 2;
        const int v = 2 * y + k / 2;
        sum += fine.light.at(u, v);
        spread += fine.variance.at(u, v);
        worst = std::min(worst, fine.variance.at(u, v));
      }
      light[i] = sum / 4;
      variance[i] = worst < 0 ? -1.0F : spread / 16;
    }
  }
  return coarse;
}

/// Light and variance at a position, empty (variance < 0) near clipped pixels and the border.
struct Sample {
  float light = 0;
  float variance = -1;
};

Sample sample(const Level& level, double u, double v) {
  const double x = u - 0.5;
  const double y = v - 0.5;
  const int left = static_cast<int>(std::floor(x));
  const int top = static_cast<int>(std::floor(y));
  if (left < 1 || top < 1 || left + 2 >= level.light.width || top + 2 >= level.light.height) {
    return {};
  }
  const auto wx = catmull_rom(static_cast<float>(x - left));
  const auto wy = catmull_rom(static_cast<float>(y - top));
  Sample result{.light = 0, .variance = level.variance.at(left, top)};
  for (int j = 0; j < 4; ++j) {
    const float* light = &level.light.row(top - 1 + j)[static_cast<std::size_t>(left - 1)];
    const float* variance = &level.variance.row(top - 1 + j)[static_cast<std::size_t>(left - 1)];
    float sum = 0;
    for (std::size_t i = 0; i < 4; ++i) {
      if (variance[i] < 0) return {};
      sum += wx[i] * light[i];
    }
    result.light += wy[static_cast<std::size_t>(j)] * sum;
  }
  return result;
}

using Vec3d = std::array<double, 3>;

/// Normal equations of one row or of the whole.
struct Normals {
  std::array<double, 6> matrix{};  // 00 01 02 11 12 22
  Vec3d right{};
  double residuals = 0;   // sum of squares over variance
  double from_noise = 0;  // part of 00 and of 11 that is only noise in the gradient
  double counted = 0;
  double agreed = 0;

  void add(const Vec3d& j, double residual, double weight) {
    std::size_t k = 0;
    for (std::size_t a = 0; a < 3; ++a) {
      for (std::size_t b = a; b < 3; ++b) matrix[k++] += weight * j[a] * j[b];
      right[a] += weight * j[a] * residual;
    }
  }
  void add(const Normals& other) {
    for (std::size_t i = 0; i < matrix.size(); ++i) matrix[i] += other.matrix[i];
    for (std::size_t i = 0; i < right.size(); ++i) right[i] += other.right[i];
    residuals += other.residuals;
    from_noise += other.from_noise;
    counted += other.counted;
    agreed += other.agreed;
  }
};

/// Inverse of a symmetric 3 × 3 matrix by its adjugate; empty when it is near singular.
std::optional<std::array<double, 6>> inverse(const std::array<double, 6>& m) {
  const double c00 = m[3] * m[5] - m[4] * m[4];
  const double c01 = m[2] * m[4] - m[1] * m[5];
  const double c02 = m[1] * m[4] - m[2] * m[3];
  const double determinant = m[0] * c00 + m[1] * c01 + m[2] * c02;
  if (!(determinant > 1e-9 * m[0] * m[3] * m[5])) return std::nullopt;
  const double d = 1 / determinant;
  return std::array<double, 6>{c00 * d,
                               c01 * d,
                               c02 * d,
                               (m[0] * m[5] - m[2] * m[2]) * d,
                               (m[1] * m[2] - m[0] * m[4]) * d,
                               (m[0] * m[3] - m[1] * m[1]) * d};
}

/// True when both directions hold structure beyond the gradient's noise: the smaller eigenvalue of
/// the shift's part of the matrix.
bool is_determined(const Normals& normals) {
  const double a = normals.matrix[0];
  const double b = normals.matrix[1];
  const double d = normals.matrix[3];
  const double smaller = 0.5 * (a + d - std::hypot(a - d, 2 * b));
  constexpr double kBeyondNoise = 1.5;
  return smaller > kBeyondNoise * normals.from_noise;
}

/// One level's comparison. Turns are measured in pixels at half the frame's width, so that the
/// three unknowns are of one size.
class Comparison {
 public:
  Comparison(const Level& reference, const Level& frame)
      : reference_(reference),
        frame_(frame),
        u0_(0.5 * reference.light.width),
        v0_(0.5 * reference.light.height) {}

  [[nodiscard]] double arm_px() const { return u0_; }

  [[nodiscard]] Normals at(const Vec3d& motion) const {
    const int rows = reference_.light.height - 2 * kMargin_px;
    std::vector<Normals> parts(static_cast<std::size_t>(std::max(0, rows)));
    const double turn = motion[2] / arm_px();
    const double c = std::cos(turn);
    const double s = std::sin(turn);
    parallel_for(0, rows, [&](int row) {
      Normals& part = parts[static_cast<std::size_t>(row)];
      const int y = row + kMargin_px;
      for (int x = kMargin_px; x + kMargin_px < reference_.light.width; ++x) {
        const double du = x + 0.5 - u0_;
        const double dv = y + 0.5 - v0_;
        add_pixel(x, y, {u0_ + c * du - s * dv + motion[0], v0_ + s * du + c * dv + motion[1]},
                  part);
      }
    });
    Normals all;
    for (const Normals& part : parts) all.add(part);
    return all;
  }

 private:
  void add_pixel(int x, int y, const std::array<double, 2>& seen_at, Normals& part) const {
    if (reference_.variance.at(x, y) < 0 || reference_.variance.at(x - 1, y) < 0 ||
        reference_.variance.at(x + 1, y) < 0 || reference_.variance.at(x, y - 1) < 0 ||
        reference_.variance.at(x, y + 1) < 0) {
      return;
    }
    const Sample seen = sample(frame_, seen_at[0], seen_at[1]);
    if (seen.variance < 0) return;
    const auto light = static_cast<double>(reference_.light.at(x, y));
    const double gu =
        0.5 * static_cast<double>(reference_.light.at(x + 1, y) - reference_.light.at(x - 1, y));
    const double gv =
        0.5 * static_cast<double>(reference_.light.at(x, y + 1) - reference_.light.at(x, y - 1));
    // Exposures are not known exactly, and bright edges must not decide alone.
    constexpr double kUnsure = 0.02;
    const double variance = static_cast<double>(seen.variance) +
                            static_cast<double>(reference_.variance.at(x, y)) +
                            kUnsure * kUnsure * light * light;
    const double residual = static_cast<double>(seen.light) - light;
    const double off = std::abs(residual) / std::sqrt(variance);
    constexpr double kHuber = 2.0;
    constexpr double kNever = 12.0;
    part.counted += 1;
    if (off > kNever) return;
    if (off < 3) part.agreed += 1;
    const double weight = (off < kHuber ? 1.0 : kHuber / off) / variance;
    part.residuals += std::min(off, kHuber) * off;
    part.from_noise += weight * 0.5 * static_cast<double>(reference_.variance.at(x, y));
    const double du = (x + 0.5 - u0_) / arm_px();
    const double dv = (y + 0.5 - v0_) / arm_px();
    part.add({gu, gv, gv * du - gu * dv}, residual, weight);
  }

  const Level& reference_;
  const Level& frame_;
  double u0_, v0_;
};

std::vector<Level> pyramid(const Exposed& frame, const NoiseModel& noise, double clip_level) {
  std::vector<Level> levels{finest_level(frame, noise, clip_level)};
  while (std::min(levels.back().light.width, levels.back().light.height) >= 2 * kSmallestSide_px &&
         static_cast<int>(levels.size()) < kMostLevels) {
    levels.push_back(half_size(levels.back()));
  }
  return levels;
}

constexpr double kFewestPixels = 500;

/// Refines `motion` on one level; false when that level has too little to go by.
bool refine(const Comparison& comparison, Vec3d& motion, Normals& last) {
  constexpr int kIterations = 15;
  for (int i = 0; i < kIterations; ++i) {
    last = comparison.at(motion);
    const auto inv = inverse(last.matrix);
    if (!inv || last.counted < kFewestPixels || !is_determined(last)) return false;
    const auto& m = *inv;
    const auto& r = last.right;
    const Vec3d step = {m[0] * r[0] + m[1] * r[1] + m[2] * r[2],
                        m[1] * r[0] + m[3] * r[1] + m[4] * r[2],
                        m[2] * r[0] + m[4] * r[1] + m[5] * r[2]};
    double largest = 0;
    for (std::size_t k = 0; k < 3; ++k) {
      const double moved = std::clamp(step[k], -2.0, 2.0);
      motion[k] -= moved;
      largest = std::max(largest, std::abs(moved));
    }
    if (largest < 0.002) break;
  }
  return true;
}

}  // namespace

double FrameMotion::reach_px(int width, int height) const {
  const double corner = 0.5 * std::hypot(width, height);
  return std::hypot(shift_u_px, shift_v_px) + 2 * corner * std::abs(std::sin(turn_rad / 2));
}

std::optional<MeasuredMotion> measure_motion(const Exposed& reference, const Exposed& frame,
                                             const NoiseModel& noise, double clip_level) {
  const auto reference_levels = pyramid(reference, noise, clip_level);
  const auto frame_levels = pyramid(frame, noise, clip_level);
  Vec3d motion{};
  Normals last;
  bool found = false;
  for (std::size_t k = reference_levels.size(); k-- > 0;) {
    const Comparison comparison(reference_levels[k], frame_levels[k]);
    Vec3d refined = motion;
    found = refine(comparison, refined, last);
    if (found) motion = refined;
    if (k == 0) break;
    for (double& term : motion) term *= 2;
  }
  const auto covariance = inverse(last.matrix);
  if (!found || !covariance) return std::nullopt;
  const double scatter = std::max(1.0, last.residuals / std::max(1.0, last.counted - 3));
  const double arm = 0.5 * reference.image.width();
  return MeasuredMotion{
      .motion = {.shift_u_px = motion[0], .shift_v_px = motion[1], .turn_rad = motion[2] / arm},
      .sigma_px = std::sqrt(scatter * std::max((*covariance)[0], (*covariance)[3])),
      .share = last.agreed / last.counted};
}

Extent moved_extent(int width, int height, const FrameMotion& motion) {
  // Each side gives way by its own shift and by what turning carries its ends.
  constexpr double kKernel_px = 2;
  const double turn = std::abs(std::sin(motion.turn_rad));
  const double across = 0.5 * height * turn + kKernel_px;
  const double down = 0.5 * width * turn + kKernel_px;
  const auto cut = [](double px) { return static_cast<int>(std::ceil(std::max(0.0, px))); };
  return {.left = cut(across - motion.shift_u_px),
          .top = cut(down - motion.shift_v_px),
          .right = width - cut(across + motion.shift_u_px),
          .bottom = height - cut(down + motion.shift_v_px)};
}

namespace {

std::vector<FloatPlane> light_planes(const Exposed& frame) {
  const Image& image = frame.image;
  const auto step = static_cast<std::size_t>(image.channel_count());
  std::vector<FloatPlane> planes(step, FloatPlane(image.width(), image.height()));
  parallel_for(0, image.height(), [&](int y) {
    std::vector<float> row = light_row(image);
    decode_light(image, frame.curve, y, row);
    for (std::size_t c = 0; c < step; ++c) {
      auto out = planes[c].row(y);
      for (std::size_t x = 0; x < out.size(); ++x) out[x] = row[x * step + c];
    }
  });
  return planes;
}

/// The 4 × 4 pixels around a position, by offset into a plane, with their weights.
struct Taps {
  Taps(double u, double v, int width, int height) {
    const int left = static_cast<int>(std::floor(u - 0.5));
    const int top = static_cast<int>(std::floor(v - 0.5));
    wx = catmull_rom(static_cast<float>(u - 0.5 - left));
    wy = catmull_rom(static_cast<float>(v - 0.5 - top));
    for (int j = 0; j < 4; ++j) {
      const auto row = static_cast<std::size_t>(std::clamp(top - 1 + j, 0, height - 1)) *
                       static_cast<std::size_t>(width);
      for (int i = 0; i < 4; ++i) {
        at[static_cast<std::size_t>(4 * j + i)] =
            row + static_cast<std::size_t>(std::clamp(left - 1 + i, 0, width - 1));
      }
    }
  }

  [[nodiscard]] float value(const FloatPlane& plane) const {
    float sum = 0;
    for (std::size_t k = 0; k < at.size(); ++k) sum += wy[k / 4] * wx[k % 4] * plane.values[at[k]];
    const auto [low, high] = std::minmax(
        {plane.values[at[5]], plane.values[at[6]], plane.values[at[9]], plane.values[at[10]]});
    return std::clamp(sum, low, high);
  }
  [[nodiscard]] bool reach(const FloatPlane& plane, float level) const {
    return std::any_of(at.begin(), at.end(),
                       [&](std::size_t k) { return plane.values[k] >= level; });
  }

  std::array<float, 4> wx{}, wy{};
  std::array<std::size_t, 16> at{};
};

}  // namespace

Image moved_onto_reference(const Exposed& frame, const FrameMotion& motion, double clip_level) {
  const Image& image = frame.image;
  const int width = image.width();
  const int height = image.height();
  const auto step = static_cast<std::size_t>(image.channel_count());
  const std::vector<FloatPlane> planes = light_planes(frame);
  Image moved(width, height, image.channels(), image.type());
  moved.take_meaning_of(image);
  const double cosine = std::cos(motion.turn_rad);
  const double sine = std::sin(motion.turn_rad);
  const auto white = static_cast<float>(std::max(1.0, clip_level));
  const auto level = static_cast<float>(clip_level);
  parallel_for(0, height, [&](int y) {
    std::vector<float> out = light_row(image);
    const double dv = y + 0.5 - 0.5 * height;
    for (int x = 0; x < width; ++x) {
      const double du = x + 0.5 - 0.5 * width;
      const Taps taps(0.5 * width + cosine * du - sine * dv + motion.shift_u_px,
                      0.5 * height + sine * du + cosine * dv + motion.shift_v_px, width, height);
      const bool clipped = std::any_of(planes.begin(), planes.end(), [&](const FloatPlane& plane) {
        return taps.reach(plane, level);
      });
      for (std::size_t c = 0; c < step; ++c) {
        out[static_cast<std::size_t>(x) * step + c] = clipped ? white : taps.value(planes[c]);
      }
    }
    encode_light(moved, frame.curve, y, out);
  });
  return moved;
}

}  // namespace seamwright
