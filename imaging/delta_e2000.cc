#include "imaging/delta_e2000.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace seamwright {

namespace {

constexpr double kDeg = std::numbers::pi / 180;

double seventh(double x) { return x * x * x * x * x * x * x; }

// Share of the grey axis' compression: near 1 at high chroma, 0 at none.
double chroma_share(double chroma) {
  const double power = seventh(chroma);
  return std::sqrt(power / (power + seventh(25.0)));
}

// Hue in [0, 360)°; 0 for grey.
double hue_deg(double a, double b) {
  if (a == 0 && b == 0) return 0;
  const double hue = std::atan2(b, a) / kDeg;
  return hue < 0 ? hue + 360 : hue;
}

// The shorter way round from the first hue to the second, equation 10.
double hue_step_deg(double first, double second) {
  const double step = second - first;
  if (step > 180) return step - 360;
  return step < -180 ? step + 360 : step;
}

// Equation 14.
double mean_hue_deg(double first, double second) {
  const double sum = first + second;
  if (std::abs(first - second) <= 180) return sum / 2;
  return sum < 360 ? (sum + 360) / 2 : (sum - 360) / 2;
}

double lab_curve(double t) {
  constexpr double kEdge = 6.0 / 29;
  return t > kEdge * kEdge * kEdge ? std::cbrt(t) : t / (3 * kEdge * kEdge) + 4.0 / 29;
}

}  // namespace

Lab lab_from_linear_srgb(const std::array<double, 3>& light) {
  constexpr double kXyzFromRgb[3][3] = {{0.4124, 0.3576, 0.1805},  // IEC 61966-2-1
                                        {0.2126, 0.7152, 0.0722},
                                        {0.0193, 0.1192, 0.9505}};
  double relative[3] = {0, 0, 0};  // to white: so that equal light is grey exactly
  for (std::size_t row = 0; row < 3; ++row) {
    double white = 0;
    for (std::size_t c = 0; c < 3; ++c) {
      relative[row] += kXyzFromRgb[row][c] * light[c];
      white += kXyzFromRgb[row][c];
    }
    relative[row] = lab_curve(relative[row] / white);
  }
  return {116 * relative[1] - 16, 500 * (relative[0] - relative[1]),
          200 * (relative[1] - relative[2])};
}

double delta_e2000(const Lab& first, const Lab& second) {
  const double mean_c = (std::hypot(first.a, first.b) + std::hypot(second.a, second.b)) / 2;
  const double stretch = 1 + 0.5 * (1 - chroma_share(mean_c));
  const double c1 = std::hypot(stretch * first.a, first.b);
  const double c2 = std::hypot(stretch * second.a, second.b);
  const double h1 = hue_deg(stretch * first.a, first.b);
  const double h2 = hue_deg(stretch * second.a, second.b);
  const bool grey = c1 * c2 == 0;

  const double dl = second.l - first.l;
  const double dc = c2 - c1;
  const double dh = grey ? 0 : 2 * std::sqrt(c1 * c2) * std::sin(hue_step_deg(h1, h2) / 2 * kDeg);

  const double l = (first.l + second.l) / 2;
  const double c = (c1 + c2) / 2;
  const double h = grey ? h1 + h2 : mean_hue_deg(h1, h2);
  const double t = 1 - 0.17 * std::cos((h - 30) * kDeg) + 0.24 * std::cos(2 * h * kDeg) +
                   0.32 * std::cos((3 * h + 6) * kDeg) - 0.20 * std::cos((4 * h - 63) * kDeg);
  const double from_blue = (h - 275) / 25;
  const double turn = 60 * std::exp(-from_blue * from_blue);  // 2 Δθ, degrees
  const double from_middle = (l - 50) * (l - 50);
  const double part_l = dl / (1 + 0.015 * from_middle / std::sqrt(20 + from_middle));
  const double part_c = dc / (1 + 0.045 * c);
  const double part_h = dh / (1 + 0.015 * c * t);
  const double rotation = -2 * chroma_share(c) * std::sin(turn * kDeg);
  return std::sqrt(std::max(
      0.0, part_l * part_l + part_c * part_c + part_h * part_h + rotation * part_c * part_h));
}

}  // namespace seamwright
