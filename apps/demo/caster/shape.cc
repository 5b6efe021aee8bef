#include "apps/demo/caster/shape.h"

#include <numbers>

namespace seamwright::demo {
namespace {

constexpr float kPiF = std::numbers::pi_v<float>;
constexpr Float3 kDown = {0, 1, 0};

Float3 into_box(const Shape& s, const Float3& v) {
  return {s.cos_turn * v.x - s.sin_turn * v.z, v.y, s.sin_turn * v.x + s.cos_turn * v.z};
}
Float3 out_of_box(const Shape& s, const Float3& v) {
  return {s.cos_turn * v.x + s.sin_turn * v.z, v.y, -s.sin_turn * v.x + s.cos_turn * v.z};
}

/// 1 / d, huge instead of infinite where a ray runs along a face.
float inverted(float d) { return 1.0F / (std::fabs(d) < 1e-20F ? std::copysign(1e-20F, d) : d); }

bool crosses_box(const Shape& s, const Ray& ray, float min_t, float max_t, Crossing& out) {
  const Float3 o = into_box(s, ray.origin - s.centre);
  const Float3 d = into_box(s, ray.direction);
  const Float3 inverse = {inverted(d.x), inverted(d.y), inverted(d.z)};
  const Float3 middle = -o * inverse;
  const Float3 reach = {s.half.x * std::fabs(inverse.x), s.half.y * std::fabs(inverse.y),
                        s.half.z * std::fabs(inverse.z)};
  const Float3 enter = middle - reach;
  const Float3 leave = middle + reach;
  const float first = max3(enter);
  const float last = min3(leave);
  if (first > last || last <= min_t || first >= max_t) {
    return false;
  }
  if (first > min_t) {
    const int axis = first == enter.x ? 0 : (first == enter.y ? 1 : 2);
    const float along = axis == 0 ? d.x : (axis == 1 ? d.y : d.z);
    out = {first, 2 * axis + (along > 0.0F ? 1 : 0)};
    return true;
  }
  if (last >= max_t) {
    return false;
  }
  const int axis = last == leave.x ? 0 : (last == leave.y ? 1 : 2);
  const float along = axis == 0 ? d.x : (axis == 1 ? d.y : d.z);
  out = {last, 2 * axis + (along > 0.0F ? 0 : 1)};
  return true;
}

bool crosses_quad(const Shape& s, const Ray& ray, float min_t, float max_t, Crossing& out) {
  const Float3 normal = cross(s.edge_u, s.edge_v);
  const float facing = dot(normal, ray.direction);
  if (std::fabs(facing) < 1e-12F) {
    return false;
  }
  const float t = dot(normal, s.centre - ray.origin) / facing;
  if (!(t > min_t && t < max_t)) {
    return false;
  }
  const Float3 q = ray.origin + ray.direction * t - s.centre;
  const float n2 = dot(normal, normal);
  const float u = dot(cross(q, s.edge_v), normal) / n2;
  const float v = dot(cross(s.edge_u, q), normal) / n2;
  if (u < 0.0F || u > 1.0F || v < 0.0F || v > 1.0F) {
    return false;
  }
  out = {t, kBack};
  return true;
}

bool crosses_cylinder(const Shape& s, const Ray& ray, float min_t, float max_t, Crossing& out) {
  const Float3& axis = s.edge_u;
  const Float3 o = ray.origin - s.centre;
  const float d_axis = dot(ray.direction, axis);
  const float o_axis = dot(o, axis);
  const Float3 d_perp = ray.direction - axis * d_axis;
  const Float3 o_perp = o - axis * o_axis;
  const float a = dot(d_perp, d_perp);
  const float b = dot(d_perp, o_perp);
  const float c = dot(o_perp, o_perp) - s.half.x * s.half.x;
  float best = max_t;
  int face = -1;
  const float discriminant = b * b - a * c;
  if (a > 1e-12F && discriminant >= 0.0F) {
    const float root = std::sqrt(discriminant);
    for (const float t : {(-b - root) / a, (-b + root) / a}) {
      const float along = o_axis + t * d_axis;
      if (t > min_t && t < best && along >= 0.0F && along <= s.half.y) {
        best = t;
        face = kFront;
      }
    }
  }
  if (std::fabs(d_axis) > 1e-12F) {
    for (int cap = 0; cap < 2; ++cap) {
      const float t = ((cap == 0 ? 0.0F : s.half.y) - o_axis) / d_axis;
      const Float3 q = o_perp + d_perp * t;
      if (t > min_t && t < best && dot(q, q) <= s.half.x * s.half.x) {
        best = t;
        face = cap == 0 ? kBottom : kTop;
      }
    }
  }
  if (face < 0) {
    return false;
  }
  out = {best, face};
  return true;
}

bool crosses_ellipsoid(const Shape& s, const Ray& ray, float min_t, float max_t, Crossing& out) {
  const Float3 scale = {1.0F / s.half.x, 1.0F / s.half.y, 1.0F / s.half.z};
  const Float3 o = (ray.origin - s.centre) * scale;
  const Float3 d = ray.direction * scale;
  const float a = dot(d, d);
  const float b = dot(o, d);
  // The point nearest the centre keeps the discriminant accurate far away.
  const Float3 nearest = o - d * (b / a);
  const float discriminant = a * (1.0F - dot(nearest, nearest));
  if (discriminant < 0.0F) {
    return false;
  }
  const float root = std::sqrt(discriminant);
  for (const float t : {(-b - root) / a, (-b + root) / a}) {
    if (t > min_t && t < max_t) {
      out = {t, kFront};
      return true;
    }
  }
  return false;
}

/// Axes for looking at a surface from outside: right and down.
struct FaceAxes {
  Float3 right, down;
};

FaceAxes axes_facing(const Float3& normal) {
  if (std::fabs(normal.y) > 0.99F) {
    return {{1, 0, 0}, {0, 0, normal.y < 0.0F ? -1.0F : 1.0F}};
  }
  const Float3 right = normalized(cross(normal, kDown));
  return {right, cross(-normal, right)};
}

void set_tile(FacePoint& p, const FaceAxes& axes, const Float3& position) {
  p.tile_u = dot(position, axes.right);
  p.tile_v = dot(position, axes.down);
}

FaceFrame box_frame(const Shape& s, int face, const Float3& position) {
  const int axis = face / 2;
  Float3 local = {};
  (axis == 0 ? local.x : (axis == 1 ? local.y : local.z)) = (face % 2 == 0) ? 1.0F : -1.0F;
  const FaceAxes local_axes = axes_facing(local);
  const Float3 q = into_box(s, position - s.centre);
  FaceFrame frame{out_of_box(s, local), {}};
  FacePoint& p = frame.point;
  const auto extent = [&](const Float3& a) {
    return std::fabs(a.x) * s.half.x + std::fabs(a.y) * s.half.y + std::fabs(a.z) * s.half.z;
  };
  p.width = 2.0F * extent(local_axes.right);
  p.height = 2.0F * extent(local_axes.down);
  p.u = dot(q, local_axes.right) + 0.5F * p.width;
  p.v = dot(q, local_axes.down) + 0.5F * p.height;
  set_tile(p, {out_of_box(s, local_axes.right), out_of_box(s, local_axes.down)}, position);
  return frame;
}

FaceFrame quad_frame(const Shape& s, const Float3& position) {
  FaceFrame frame{normalized(cross(s.edge_v, s.edge_u)), {}};
  FacePoint& p = frame.point;
  p.width = length(s.edge_u);
  p.height = length(s.edge_v);
  const Float3 q = position - s.centre;
  p.u = dot(q, s.edge_u) / p.width;
  p.v = dot(q, s.edge_v) / p.height;
  set_tile(p, axes_facing(frame.normal), position);
  return frame;
}

FaceFrame cylinder_frame(const Shape& s, int face, const Float3& position) {
  const Float3 q = position - s.centre;
  const float along = dot(q, s.edge_u);
  const Float3 out = q - s.edge_u * along;
  // Any pair of directions across the axis will do, as long as it is always the same.
  const Float3 helper = std::fabs(s.edge_u.y) > 0.9F ? Float3{1, 0, 0} : kDown;
  const Float3 side = normalized(cross(s.edge_u, helper));
  const Float3 other = cross(s.edge_u, side);
  FaceFrame frame;
  FacePoint& p = frame.point;
  const float a = dot(out, side);
  const float b = dot(out, other);
  if (face == kFront) {
    frame.normal = normalized(out);
    p.width = 2.0F * kPiF * s.half.x;
    p.height = s.half.y;
    p.u = (std::atan2(b, a) / (2.0F * kPiF) + 0.5F) * p.width;
    p.v = s.half.y - along;
  } else {
    frame.normal = face == kTop ? s.edge_u : -s.edge_u;
    p.width = 2.0F * s.half.x;
    p.height = p.width;
    p.u = a + s.half.x;
    p.v = b + s.half.x;
  }
  p.tile_u = p.u;
  p.tile_v = p.v;
  return frame;
}

FaceFrame ellipsoid_frame(const Shape& s, const Float3& position) {
  const Float3 q = position - s.centre;
  const Float3 scale = {1.0F / s.half.x, 1.0F / s.half.y, 1.0F / s.half.z};
  const Float3 unit = q * scale;
  FaceFrame frame{normalized(unit * scale), {}};
  FacePoint& p = frame.point;
  const float radius = s.half.x;
  p.width = 2.0F * kPiF * radius;
  p.height = kPiF * radius;
  p.u = (std::atan2(unit.z, unit.x) / (2.0F * kPiF) + 0.5F) * p.width;
  p.v = std::acos(larger(-1.0F, smaller(1.0F, -unit.y))) * radius;
  p.tile_u = p.u;
  p.tile_v = p.v;
  return frame;
}

}  // namespace

bool crosses(const Shape& shape, const Ray& ray, float min_t, float max_t, Crossing& crossing) {
  switch (shape.kind) {
    case ShapeKind::box:
      return crosses_box(shape, ray, min_t, max_t, crossing);
    case ShapeKind::quad:
      return crosses_quad(shape, ray, min_t, max_t, crossing);
    case ShapeKind::cylinder:
      return crosses_cylinder(shape, ray, min_t, max_t, crossing);
    case ShapeKind::ellipsoid:
      return crosses_ellipsoid(shape, ray, min_t, max_t, crossing);
  }
  return false;
}

Bounds bounds_of(const Shape& s) {
  switch (s.kind) {
    case ShapeKind::box: {
      const float c = std::fabs(s.cos_turn);
      const float n = std::fabs(s.sin_turn);
      const Float3 reach = {c * s.half.x + n * s.half.z, s.half.y, n * s.half.x + c * s.half.z};
      return {s.centre - reach, s.centre + reach};
    }
    case ShapeKind::quad: {
      const Float3 b = s.centre + s.edge_u;
      const Float3 c = s.centre + s.edge_v;
      const Float3 d = b + s.edge_v;
      const Float3 slack = {1e-4F, 1e-4F, 1e-4F};
      return {smaller(smaller(s.centre, b), smaller(c, d)) - slack,
              larger(larger(s.centre, b), larger(c, d)) + slack};
    }
    case ShapeKind::cylinder: {
      const Float3& axis = s.edge_u;
      const auto across = [&](float a) { return s.half.x * std::sqrt(larger(0.0F, 1.0F - a * a)); };
      const Float3 reach = {across(axis.x), across(axis.y), across(axis.z)};
      const Float3 end = s.centre + axis * s.half.y;
      return {smaller(s.centre, end) - reach, larger(s.centre, end) + reach};
    }
    case ShapeKind::ellipsoid:
      return {s.centre - s.half, s.centre + s.half};
  }
  return {};
}

FaceFrame face_frame(const Shape& shape, int face, const Float3& position) {
  FaceFrame frame;
  switch (shape.kind) {
    case ShapeKind::box:
      frame = box_frame(shape, face, position);
      break;
    case ShapeKind::quad:
      frame = quad_frame(shape, position);
      break;
    case ShapeKind::cylinder:
      frame = cylinder_frame(shape, face, position);
      break;
    case ShapeKind::ellipsoid:
      frame = ellipsoid_frame(shape, position);
      break;
  }
  frame.point.seed = shape.seed;
  return frame;
}

}  // namespace seamwright::demo
