#pragma once

// A textured box room with boards standing in it, nearer than the walls: what a seam finds hardest.
// Distances are known exactly.

#include <vector>

#include "projection/ribbon.h"
#include "tests/features/scene.h"

namespace seamwright::test {

/// A rectangle that faces the rig's origin.
struct Board {
  Vec3 middle = {1, 0, 0};  ///< rig frame, m
  double half_wide_m = 0.2;
  double half_high_m = 0.2;
};

class BoardRoom {
 public:
  explicit BoardRoom(std::vector<Board> boards) : boards_(std::move(boards)) {}

  struct Hit {
    Vec3 point = Vec3::Zero();
    double brightness = 0;  ///< 0…1
  };
  [[nodiscard]] Hit hit(const Vec3& origin, const Vec3& direction) const;

 private:
  std::vector<Board> boards_;
  Scene walls_{{.grain_m = 0.05}};
  Scene cloth_{{.half_size = {9, 9, 9}, .stand = {0, 0, 0}, .grain_m = 0.02, .panels = false}};
};

struct RoomExposure {
  double ev = 0;         ///< in linear light, before sRGB coding
  double noise = 0.002;  ///< σ of the code values
  double red = 1;        ///< a colour cast: linear gains of red and blue
  double blue = 1;
  std::uint64_t stream = 5;
  double least_theta_rad = rad_from_deg(70);  ///< nearer to the axis the frame is left black
};

/// RGB f32 frame in sRGB code values.
[[nodiscard]] Image photograph(const BoardRoom& room, const MountedLens& lens,
                               const RoomExposure& exposure = {});

/// Inverse distance from `middle` of what `lens` sees at a ribbon pixel.
[[nodiscard]] double true_inverse(const BoardRoom& room, const MountedLens& lens,
                                  const Vec3& middle, const RibbonGrid& grid, const Vec2& px);

/// True where the point that `from` sees at a ribbon pixel is in the open for `to` as well.
[[nodiscard]] bool seen_by_both(const BoardRoom& room, const MountedLens& from,
                                const MountedLens& to, const RibbonGrid& grid, const Vec2& px);

}  // namespace seamwright::test
