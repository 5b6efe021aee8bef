#include "compose/finish/glow_edge.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "imaging/clipping.h"

namespace seamwright {

namespace {

constexpr int kRed = 0;
constexpr int kGreen = 1;
constexpr int kBlue = 2;

// How many times the reach is walked into the dark side.
constexpr int kGlowWalk = 3;
// Ways into the dark beside the straight one: to the side for each step on.
constexpr double kAslant[] = {-2, -1, -0.5, 0.5, 1, 2};

// Of the bright side against the dark one: none below the first, all from the second on.
constexpr float kLeastContrast = 2;
constexpr float kFullContrast = 4;
// Steps of light, white at 1.
constexpr float kLeastStep = 0.06F;
constexpr float kFullStep = 0.15F;
// Light above the line that may be noise: of white, and of the light itself.
constexpr float kNoiseOfWhite = 0.001F;
constexpr float kNoiseShare = 0.03F;
// Red above the line for each blue above it: all is glow up to the first, none from the second on.
constexpr float kPurple = 1.0F;
constexpr float kRedder = 1.4F;
// A step spreads half of itself to its dark side; more than this is another colour.
constexpr float kMostSpilt = 0.6F;
// The walk into the dark ends where it gets lighter than its darkest place by this.
constexpr float kLighterAgain = 1.3F;
// Blue for each green that glow leaves at least; below it no line is looked for.
constexpr float kLeastBlue = 0.6F;
// Where green is down: this share of the step above the darkest place.
constexpr float kDown = 0.15F;

float ramp(float value, float from, float to) {
  const float t = std::clamp((value - from) / (to - from), 0.0F, 1.0F);
  return t * t * (3 - 2 * t);
}

struct Reader {
  const cv::Mat3f& light;
  cv::Point at;
  double stretch;

  // `dx`, `dy` in rows; linear between pixels.
  [[nodiscard]] cv::Vec3f operator()(double dx, double dy) const {
    const double x = at.x + dx * stretch;
    const double y = at.y + dy;
    const int left = static_cast<int>(std::floor(x));
    const int top = static_cast<int>(std::floor(y));
    const auto fx = static_cast<float>(x - left);
    const auto fy = static_cast<float>(y - top);
    const cv::Vec3f upper = light(top, left) * (1 - fx) + light(top, left + 1) * fx;
    const cv::Vec3f lower = light(top + 1, left) * (1 - fx) + light(top + 1, left + 1) * fx;
    return upper * (1 - fy) + lower * fy;
  }
};

// The direction in which green light lies; zero where it is even.
cv::Point2d to_the_light(const Reader& read, int reach) {
  cv::Point2d sum(0, 0);
  for (int dy = -reach; dy <= reach; ++dy) {
    for (int dx = -reach; dx <= reach; ++dx) {
      if (dx * dx + dy * dy > reach * reach) continue;
      const int column = read.at.x + static_cast<int>(std::lround(dx * read.stretch));
      const float green = read.light(read.at.y + dy, column)[kGreen];
      sum += cv::Point2d(dx, dy) * static_cast<double>(green);
    }
  }
  const double length = std::hypot(sum.x, sum.y);
  return length > 0 ? sum / length : sum;
}

cv::Vec3f bright_side(const Reader& read, cv::Point2d towards, int reach) {
  cv::Vec3f best = read(0, 0);
  for (int k = 1; k <= reach; ++k) {
    const cv::Vec3f here = read(k * towards.x, k * towards.y);
    if (here[kGreen] > best[kGreen]) best = here;
  }
  return best;
}

// What is met on the way into the dark, one sample a row of `step`, until it gets lighter again.
std::vector<cv::Vec3f> walk_into_the_dark(const Reader& read, cv::Point2d step, int steps) {
  std::vector<cv::Vec3f> walked = {read(0, 0)};
  float darkest = walked.front()[kGreen];
  for (int k = 1; k <= steps; ++k) {
    const cv::Vec3f here = read(k * step.x, k * step.y);
    if (here[kGreen] > kLighterAgain * darkest + kNoiseOfWhite) break;
    darkest = std::min(darkest, here[kGreen]);
    walked.push_back(here);
  }
  return walked;
}

bool less_purple(const cv::Vec3f& a, const cv::Vec3f& b) {
  return a[kBlue] - a[kGreen] < b[kBlue] - b[kGreen];
}

// Beyond the reach of the glow at its most purple, or, where it is narrower, at its least. The
// reach begins where green has come down.
cv::Vec3f dark_side(const std::vector<cv::Vec3f>& walked, float bright, int reach) {
  const auto less_green = [](const cv::Vec3f& a, const cv::Vec3f& b) {
    return a[kGreen] < b[kGreen];
  };
  const float darkest = (*std::min_element(walked.begin(), walked.end(), less_green))[kGreen];
  const float down = darkest + kDown * (bright - darkest);
  const auto edge = std::find_if(walked.begin(), walked.end(),
                                 [&](const cv::Vec3f& light) { return light[kGreen] <= down; });
  if (walked.end() - edge <= reach) return *std::min_element(edge, walked.end(), less_purple);
  const auto last = edge + std::min<std::ptrdiff_t>(2 * reach + 1, walked.end() - edge);
  return *std::max_element(edge + reach, last, less_purple);
}

// Straight away from the light and aslant, by the way that finds the most purple: at the end of a
// purple thing one of them stays on it. A way aslant that soon ends at the light tells nothing.
cv::Vec3f dark_side(const Reader& read, cv::Point2d towards, float bright, int reach) {
  const auto walked = [&](double aslant) {
    const cv::Point2d step(-towards.x - aslant * towards.y, -towards.y + aslant * towards.x);
    return walk_into_the_dark(read, step, kGlowWalk * reach);
  };
  cv::Vec3f dark = dark_side(walked(0), bright, reach);
  for (const double aslant : kAslant) {
    const auto way = walked(aslant);
    if (static_cast<int>(way.size()) <= 1 + reach / 2) continue;
    dark = std::max(dark, dark_side(way, bright, reach), less_purple);
  }
  return dark;
}

// What an edge without glow would be where it has this much green.
cv::Vec3f on_the_line(float green, const cv::Vec3f& dark, const cv::Vec3f& bright) {
  if (green <= dark[kGreen]) return dark;
  const float along =
      std::min((green - dark[kGreen]) / std::max(bright[kGreen] - dark[kGreen], 1e-6F), 1.0F);
  return dark + along * (bright - dark);
}

// How much of an excess over the line is glow, 0…1.
float glow_share(float red, float blue, const cv::Vec3f& dark, const cv::Vec3f& bright,
                 bool clips) {
  const bool clipped = clips && *std::max_element(bright.val, bright.val + 3) >= clipping::kGone;
  const float spilt = blue / std::max(bright[kBlue] - dark[kBlue], 1e-6F);
  const float bounded = clipped ? 1 : 1 - ramp(spilt, kMostSpilt, 1.5F * kMostSpilt);
  const float hue = 1 - ramp(red / blue, kPurple, kRedder);
  const float contrast = bright[kGreen] / std::max(dark[kGreen], 1e-6F);
  return bounded * hue * ramp(contrast, kLeastContrast, kFullContrast) *
         ramp(bright[kGreen] - dark[kGreen], kLeastStep, kFullStep);
}

}  // namespace

int glow_margin(double reach_px) {
  const double longest_step = std::hypot(1.0, kAslant[0]);
  return static_cast<int>(std::ceil(longest_step * kGlowWalk * std::ceil(reach_px))) + 2;
}

bool may_glow(const cv::Vec3f& light, float least_green, float most_green) {
  return light[kBlue] > kLeastBlue * light[kGreen] + kNoiseOfWhite &&
         most_green - least_green > kLeastStep && most_green > kLeastContrast * least_green &&
         most_green > light[kGreen];
}

std::optional<cv::Vec3f> without_glow(const cv::Mat3f& light, cv::Point at, double stretch,
                                      const GlowSearch& search) {
  const Reader read{light, at, stretch};
  const int reach = static_cast<int>(std::ceil(search.reach_px));
  const cv::Point2d towards = to_the_light(read, reach);
  if (towards.x == 0 && towards.y == 0) return std::nullopt;
  const cv::Vec3f here = light(at);
  const cv::Vec3f bright = bright_side(read, towards, reach);
  const cv::Vec3f dark = dark_side(read, towards, bright[kGreen], reach);
  const cv::Vec3f line = on_the_line(here[kGreen], dark, bright);
  const float red = here[kRed] - line[kRed];
  const float blue = here[kBlue] - line[kBlue];
  if (blue <= kNoiseOfWhite + kNoiseShare * line[kBlue]) return std::nullopt;
  const float share = static_cast<float>(search.strength) *
                      glow_share(std::max(red, 0.0F), blue, dark, bright, search.clips);
  if (share <= 0) return std::nullopt;
  cv::Vec3f without = here;
  without[kRed] -= share * std::max(red, 0.0F);
  without[kBlue] -= share * blue;
  return without;
}

}  // namespace seamwright
