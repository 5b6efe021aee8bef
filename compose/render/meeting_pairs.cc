#include "compose/render/meeting_pairs.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "projection/equirect.h"
#include "sampling/lens_map.h"

namespace seamwright {

namespace {

constexpr int kSide = 90;           // rows of a panorama of 2 degrees a step, columns of half of it
constexpr double kLeastBorder = 8;  // steps; less is where more than two lenses meet

// Of every step of the sphere the lens with the largest margin; −1: no lens sees it.
class BestLenses {
 public:
  explicit BestLenses(const Rig& rig) : best_(static_cast<std::size_t>(2 * kSide * kSide), -1) {
    const std::vector<LensMap> maps(rig.lenses.begin(), rig.lenses.end());
    const Equirect raster{2 * kSide, kSide};
    for (int y = 0; y < kSide; ++y) {
      for (int x = 0; x < 2 * kSide; ++x) {
        best_[place(x, y)] = best_of(maps, raster.direction({x + 0.5, y + 0.5}));
      }
    }
  }

  // Columns go on past the last.
  [[nodiscard]] int at(int x, int y) const { return best_[place(x % (2 * kSide), y)]; }

 private:
  static std::size_t place(int x, int y) { return static_cast<std::size_t>(y * 2 * kSide + x); }
  static int best_of(const std::vector<LensMap>& maps, const Vec3& direction) {
    int best = -1;
    double most = 0;
    for (std::size_t lens = 0; lens < maps.size(); ++lens) {
      const double margin = maps[lens].margin_rad(direction);
      if (margin <= most) continue;
      most = margin;
      best = static_cast<int>(lens);
    }
    return best;
  }

  std::vector<int> best_;
};

// Length of the border between lens a and a later lens b at [a · count + b], in steps.
std::vector<double> borders(const BestLenses& best, int count) {
  std::vector<double> border(static_cast<std::size_t>(count * count));
  const auto meet = [&](int one, int other, double length) {
    if (one < 0 || other < 0 || one == other) return;
    border[static_cast<std::size_t>(std::min(one, other) * count + std::max(one, other))] += length;
  };
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < 2 * kSide; ++x) {
      meet(best.at(x, y), best.at(x + 1, y), 1);
      if (y + 1 == kSide) continue;
      meet(best.at(x, y), best.at(x, y + 1), std::sin(kPi * (y + 1) / kSide));
    }
  }
  return border;
}

}  // namespace

std::vector<std::pair<int, int>> meeting_pairs(const Rig& rig) {
  const int count = rig.lens_count();
  const std::vector<double> border = borders(BestLenses(rig), count);
  std::vector<std::pair<int, int>> pairs;
  for (int a = 0; a < count; ++a) {
    for (int b = a + 1; b < count; ++b) {
      if (border[static_cast<std::size_t>(a * count + b)] >= kLeastBorder) pairs.emplace_back(a, b);
    }
  }
  return pairs;
}

}  // namespace seamwright
