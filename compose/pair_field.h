#pragma once

#include "compose/seam_plan.h"

namespace seamwright {

/// A pair's warp, read between its pixels. Keeps a reference to the plan. Thread-safe.
class PairField {
 public:
  explicit PairField(const PairSeam& seam) : seam_(seam) {}

  [[nodiscard]] std::size_t lens_a() const { return static_cast<std::size_t>(seam_.lens_a); }
  [[nodiscard]] std::size_t lens_b() const { return static_cast<std::size_t>(seam_.lens_b); }
  [[nodiscard]] bool moves(std::size_t lens) const { return lens == lens_a() || lens == lens_b(); }

  /// True where something within `reach_rad` of a direction may be moved.
  [[nodiscard]] bool touches(const Vec3& direction, double reach_rad) const;

  /// The direction in which a lens of the pair shows what the panorama shows in `direction`.
  [[nodiscard]] Vec3 read_direction(std::size_t lens, const Vec3& direction) const;

  /// How much of a direction each lens shows, 0…1: less where something hides it.
  struct Shown {
    double by_a = 1;
    double by_b = 1;
  };
  [[nodiscard]] Shown shown(const Vec3& direction) const;

 private:
  const PairSeam& seam_;
};

}  // namespace seamwright
