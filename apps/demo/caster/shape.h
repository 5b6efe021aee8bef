#pragma once

#include <array>
#include <cstdint>

#include "apps/demo/caster/float3.h"
#include "apps/demo/caster/material.h"

namespace seamwright::demo {

enum class ShapeKind : std::uint8_t {
  box,        ///< upright, turned about the vertical
  quad,       ///< parallelogram, both sides show
  cylinder,   ///< with caps
  ellipsoid,  ///< axes along the world's
};

/// Faces of a box, also for the caps (bottom, top) of a vertical cylinder.
enum Face : int { kRight, kLeft, kBottom, kTop, kFront, kBack, kFaceCount };

/// One analytic surface. What the fields mean for each kind:
///   box        centre, half sizes, turn about the vertical; a material a face
///   quad       centre is the top left corner, edge_u to the right, edge_v down
///   cylinder   centre is the start of the axis, edge_u its unit direction, half.x the radius,
///              half.y the length
///   ellipsoid  centre, half axes
struct Shape {
  ShapeKind kind = ShapeKind::box;
  Float3 centre;
  Float3 half;
  Float3 edge_u, edge_v;
  float cos_turn = 1, sin_turn = 0;
  std::array<std::uint16_t, kFaceCount> materials{};
  std::uint32_t seed = 0;
  bool casts_shadow = true;  ///< lamps let their own light out
};

struct Ray {
  Float3 origin;
  Float3 direction;  ///< unit length
};

struct Bounds {
  Float3 low, high;
};

/// Nearest crossing with min_t < t < max_t; t stays what it was where there is none.
struct Crossing {
  float t = 0;
  int face = 0;
};

bool crosses(const Shape& shape, const Ray& ray, float min_t, float max_t, Crossing& crossing);

Bounds bounds_of(const Shape& shape);

/// The face's outward normal and texture coordinates at a point on it. `footprint` is left alone.
struct FaceFrame {
  Float3 normal;
  FacePoint point;
};
FaceFrame face_frame(const Shape& shape, int face, const Float3& position);

}  // namespace seamwright::demo
