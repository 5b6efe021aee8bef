#pragma once

// Furnishing a scene. Coordinates here are (x, height, z) in metres, heights upwards from the
// ground floor; places turn about the vertical, heading 0 looks along +z and 90 along +x. A piece
// of furniture is described facing +z of its own place.

#include <array>
#include <string>
#include <vector>

#include "apps/demo/caster/scene.h"

namespace seamwright::demo {

using MaterialId = std::uint16_t;

/// Materials of a box, in the order of Face.
using Faces = std::array<MaterialId, kFaceCount>;
constexpr Faces all(MaterialId m) { return {m, m, m, m, m, m}; }

struct Place {
  float x = 0, height = 0, z = 0;
  float heading_deg = 0;
};

/// A gap in a wall, along the wall and in height.
struct Opening {
  float from = 0, to = 0;
  float bottom = 0, top = 0;
};

class Builder {
 public:
  explicit Builder(Scene& scene) : scene_(scene) {}

  MaterialId material(Material m);

  /// Everything until leave() is relative to `place`, which is relative to the place before.
  void enter(const Place& place);
  void leave();

  void box(const Float3& low, const Float3& high, const Faces& faces);
  void box(const Float3& low, const Float3& high, MaterialId m) { box(low, high, all(m)); }
  /// `corner` is the top left as seen from the front, the edges go right and down.
  void quad(const Float3& corner, const Float3& right, const Float3& down, MaterialId m);
  void cylinder(const Float3& from, const Float3& to, float radius, MaterialId side,
                MaterialId caps);
  void cylinder(const Float3& from, const Float3& to, float radius, MaterialId m) {
    cylinder(from, to, radius, m, m);
  }
  void ellipsoid(const Float3& centre, const Float3& half, MaterialId m);
  /// The last shape lets light through.
  void cast_no_shadow() { scene_.shapes.back().casts_shadow = false; }

  /// A wall along x (thickness in z) or along z (thickness in x) with gaps; unturned places only.
  enum class Along { x, z };
  struct Wall {
    Along along = Along::x;
    float from = 0, to = 0;             ///< along it
    float side_low = 0, side_high = 0;  ///< across it
    float bottom = 0, top = 2.8F;
  };
  void wall(const Wall& wall, std::vector<Opening> openings, const Faces& faces);

  [[nodiscard]] Float3 to_world(const Float3& local) const;
  Scene& scene() { return scene_; }

 private:
  struct Turned {
    Float3 origin;  ///< builder coordinates
    float heading_rad = 0;
  };
  [[nodiscard]] Float3 turned(const Float3& v) const;
  Shape& add(ShapeKind kind);

  Scene& scene_;
  std::vector<Turned> places_{{}};
};

}  // namespace seamwright::demo
