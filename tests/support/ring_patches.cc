#include "tests/support/ring_patches.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <stdexcept>

#include "base/parallel.h"
#include "projection/equirect.h"

namespace seamwright::test {

namespace {

constexpr double kLeastStretch = 0.76;
constexpr double kMostStretch = 1.28;
constexpr std::size_t kCandidates = 4;  // of the coarse search that are refined

// Grey code values, white at 1.
class Codes {
 public:
  explicit Codes(const Image& image)
      : width_(image.width()),
        height_(image.height()),
        value_(static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_)) {
    for (int y = 0; y < height_; ++y) {
      switch (image.type()) {
        case SampleType::u8:
          take_row(image.row<std::uint8_t>(y), image.channel_count(), 255, y);
          break;
        case SampleType::u16:
          take_row(image.row<std::uint16_t>(y), image.channel_count(), 65535, y);
          break;
        case SampleType::f32:
          take_row(image.row<float>(y), image.channel_count(), 1, y);
          break;
      }
    }
  }

  // Linear between pixels; x wraps.
  [[nodiscard]] float at(double x_px, double y_px) const {
    const double x = x_px - 0.5;
    const double y = std::clamp(y_px - 0.5, 0.0, height_ - 1.0);
    const int left = static_cast<int>(std::floor(x));
    const int top = std::min(static_cast<int>(y), std::max(0, height_ - 2));
    const auto part_x = static_cast<float>(x - left);
    const auto part_y = static_cast<float>(y - top);
    const float upper = pixel(left, top) + part_x * (pixel(left + 1, top) - pixel(left, top));
    const int under = std::min(top + 1, height_ - 1);
    const float lower = pixel(left, under) + part_x * (pixel(left + 1, under) - pixel(left, under));
    return upper + part_y * (lower - upper);
  }

 private:
  template <class T>
  void take_row(std::span<const T> row, int channels, double white, int y) {
    const int colours = channels >= 3 ? 3 : 1;
    for (int x = 0; x < width_; ++x) {
      double sum = 0;
      for (int c = 0; c < colours; ++c) {
        sum += static_cast<double>(row[static_cast<std::size_t>(x * channels + c)]);
      }
      pixel(x, y) = static_cast<float>(sum / (colours * white));
    }
  }
  [[nodiscard]] float& pixel(int x, int y) {
    return value_[static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
                  static_cast<std::size_t>((x % width_ + width_) % width_)];
  }
  [[nodiscard]] float pixel(int x, int y) const { return const_cast<Codes*>(this)->pixel(x, y); }

  int width_;
  int height_;
  std::vector<float> value_;
};

// The panorama unrolled around the pole, smoothed.
Codes ring_of(const Image& panorama, const RibbonGrid& grid, double smooth_px) {
  const Codes codes(panorama);
  const Equirect sphere{panorama.width(), panorama.height()};
  Image ring(grid.width_px, grid.height_px, Channels::grey, SampleType::f32);
  parallel_for(0, grid.height_px, [&](int y) {
    const auto row = ring.row<float>(y);
    for (int x = 0; x < grid.width_px; ++x) {
      const Vec2 px = sphere.position(grid.direction({x + 0.5, y + 0.5}));
      row[static_cast<std::size_t>(x)] = codes.at(px.x(), px.y());
    }
  });
  const int radius = static_cast<int>(std::ceil(3 * smooth_px));
  std::vector<float> taps;
  float sum = 0;
  for (int i = -radius; i <= radius; ++i) {
    taps.push_back(static_cast<float>(std::exp(-0.5 * i * i / (smooth_px * smooth_px))));
    sum += taps.back();
  }
  for (const bool across : {true, false}) {
    const Image from = ring;
    const Codes sharp(from);
    parallel_for(0, grid.height_px, [&](int y) {
      const auto row = ring.row<float>(y);
      for (int x = 0; x < grid.width_px; ++x) {
        float smooth = 0;
        for (int i = -radius; i <= radius; ++i) {
          smooth += taps[static_cast<std::size_t>(i + radius)] *
                    sharp.at(x + 0.5 + (across ? i : 0), y + 0.5 + (across ? 0 : i));
        }
        row[static_cast<std::size_t>(x)] = smooth / sum;
      }
    });
  }
  return Codes(ring);
}

using Patch = std::vector<float>;

// Less its mean, of length 1; empty if there is nothing in it. `spread` the standard deviation.
std::optional<Patch> normalised(Patch patch, double* spread = nullptr) {
  double mean = 0;
  for (const float value : patch) mean += value;
  mean /= static_cast<double>(patch.size());
  double square = 0;
  for (float& value : patch) {
    value -= static_cast<float>(mean);
    square += 1.0 * value * value;
  }
  if (spread != nullptr) *spread = std::sqrt(square / static_cast<double>(patch.size()));
  if (square < 1e-12) return std::nullopt;
  for (float& value : patch) value /= static_cast<float>(std::sqrt(square));
  return patch;
}

struct Placement {
  double parallax_px = 0;
  double sideways_px = 0;
  double stretch = 1;
  double score = -1;
};

class Comparer {
 public:
  Comparer(const Codes& stitched, const Codes& ideal, double middle_px, int patch_px)
      : stitched_(stitched), ideal_(ideal), middle_px_(middle_px), patch_px_(patch_px) {}

  [[nodiscard]] Patch taken(const Codes& ring, double x_px, const Placement& placement) const {
    Patch patch;
    patch.reserve(static_cast<std::size_t>(patch_px_) * static_cast<std::size_t>(patch_px_));
    const double half = 0.5 * patch_px_;
    for (int j = 0; j < patch_px_; ++j) {
      const double y = middle_px_ + placement.parallax_px + placement.stretch * (j + 0.5 - half);
      for (int i = 0; i < patch_px_; ++i) {
        patch.push_back(ring.at(x_px + placement.sideways_px + i + 0.5 - half, y));
      }
    }
    return patch;
  }

  // Coarse over everything, then finer around the best few.
  [[nodiscard]] Placement best(double x_px, const RingPatchOptions& options) const {
    const auto wanted = normalised(taken(stitched_, x_px, {}));
    if (!wanted) return {};
    std::vector<Placement> found;
    for (double stretch = kLeastStretch; stretch <= kMostStretch + 1e-9; stretch += 0.065) {
      for (int parallax = -options.reach_parallax_px; parallax <= options.reach_parallax_px;
           parallax += 2) {
        for (int sideways = -options.reach_sideways_px; sideways <= options.reach_sideways_px;
             sideways += 2) {
          found.push_back(scored({1.0 * parallax, 1.0 * sideways, stretch}, x_px, *wanted));
        }
      }
    }
    const auto better = [](const Placement& p, const Placement& q) { return p.score > q.score; };
    std::stable_sort(found.begin(), found.end(), better);
    Placement best;
    for (std::size_t k = 0; k < std::min(kCandidates, found.size()); ++k) {
      const Placement refined = refine(found[k], x_px, *wanted);
      if (better(refined, best)) best = refined;
    }
    return best;
  }

 private:
  [[nodiscard]] Placement scored(Placement placement, double x_px, const Patch& wanted) const {
    const auto patch = normalised(taken(ideal_, x_px, placement));
    placement.score = -1;
    if (!patch) return placement;
    double sum = 0;
    for (std::size_t i = 0; i < wanted.size(); ++i) sum += 1.0 * wanted[i] * (*patch)[i];
    placement.score = sum;
    return placement;
  }

  // Steps to the better neighbour, with ever smaller steps.
  [[nodiscard]] Placement refine(Placement at, double x_px, const Patch& wanted) const {
    for (double step = 1; step >= 0.25; step /= 2) {
      for (bool moved = true; moved;) {
        moved = false;
        for (const auto& [parallax, sideways, stretch] : {std::array{1.0, 0.0, 0.0},
                                                          {-1.0, 0.0, 0.0},
                                                          {0.0, 1.0, 0.0},
                                                          {0.0, -1.0, 0.0},
                                                          {0.0, 0.0, 0.03},
                                                          {0.0, 0.0, -0.03}}) {
          Placement to = at;
          to.parallax_px += step * parallax;
          to.sideways_px += step * sideways;
          to.stretch = std::clamp(at.stretch + step * stretch, kLeastStretch, kMostStretch);
          to = scored(to, x_px, wanted);
          if (to.score <= at.score) continue;
          at = to;
          moved = true;
        }
      }
    }
    return at;
  }

  const Codes& stitched_;
  const Codes& ideal_;
  double middle_px_;
  int patch_px_;
};

}  // namespace

double RingPatches::share_below(double score) const {
  if (textured.empty()) throw std::logic_error("no patch of the ring has texture");
  const auto below = std::count_if(textured.begin(), textured.end(),
                                   [&](const RingPatch& patch) { return patch.score < score; });
  return static_cast<double>(below) / static_cast<double>(textured.size());
}

RingPatches compare_ring(const Image& stitched, const Image& ideal, const RibbonAxes& axes,
                         const RingPatchOptions& options) {
  const double px_per_rad = options.ring_px / (2 * kPi);
  const int half = options.patch_px + options.reach_parallax_px;
  const RibbonGrid grid{.axes = axes,
                        .eta_begin_rad = options.eta_rad - half / px_per_rad,
                        .px_per_rad = px_per_rad,
                        .width_px = options.ring_px,
                        .height_px = 2 * half,
                        .closed = true};
  const Codes ring = ring_of(stitched, grid, options.smooth_px);
  const Codes ideal_ring = ring_of(ideal, grid, options.smooth_px);
  const Comparer comparer(ring, ideal_ring, half, options.patch_px);
  RingPatches result;
  result.all = options.ring_px / options.spacing_px;
  std::vector<std::optional<RingPatch>> patches(static_cast<std::size_t>(result.all));
  parallel_for(0, result.all, [&](int k) {
    const double x = (k + 0.5) * options.spacing_px;
    double texture = 0;
    if (!normalised(comparer.taken(ideal_ring, x, {}), &texture)) return;
    if (texture < options.least_texture) return;
    const Placement best = comparer.best(x, options);
    patches[static_cast<std::size_t>(k)] = {grid.psi_begin_rad + x / px_per_rad, best.score,
                                            best.parallax_px, best.sideways_px, best.stretch};
  });
  for (const auto& patch : patches) {
    if (patch) result.textured.push_back(*patch);
  }
  return result;
}

}  // namespace seamwright::test
