#include "apps/demo/caster/shape.h"

#include <catch2/catch.hpp>

#include "apps/demo/house/builder.h"
#include "tests/support/random.h"

using namespace seamwright::demo;
using seamwright::test::Random;

namespace {

float even_number(Random& random, float low, float high) {
  return static_cast<float>(random.uniform(low, high));
}
Float3 point_anywhere(Random& random, float reach) {
  return {even_number(random, -reach, reach), even_number(random, -reach, reach),
          even_number(random, -reach, reach)};
}

/// One of each kind, placed at random.
Scene some_shapes(Random& random) {
  Scene scene;
  Builder b(scene);
  b.enter({even_number(random, -1, 1), even_number(random, -1, 1), even_number(random, -1, 1),
           even_number(random, -180, 180)});
  b.box({-0.4F, -0.2F, -0.3F}, {0.4F, 0.3F, 0.5F}, 0);
  b.quad({-0.5F, 0.4F, 0.2F}, {1, 0, 0.3F}, {0, -0.8F, 0}, 0);
  b.cylinder({0, -0.4F, 0}, {0.3F, 0.5F, 0.2F}, 0.2F, 0);
  b.ellipsoid({0.1F, 0, 0}, {0.3F, 0.5F, 0.2F}, 0);
  return scene;
}

/// Whether a point lies inside by the shape's own definition, not by the ray code.
float signed_inside(const Shape& s, const Float3& p) {
  const Float3 q = p - s.centre;
  switch (s.kind) {
    case ShapeKind::box: {
      const Float3 l = {s.cos_turn * q.x - s.sin_turn * q.z, q.y,
                        s.sin_turn * q.x + s.cos_turn * q.z};
      return min3(
          {s.half.x - std::fabs(l.x), s.half.y - std::fabs(l.y), s.half.z - std::fabs(l.z)});
    }
    case ShapeKind::cylinder: {
      const float along = dot(q, s.edge_u);
      return smaller(smaller(along, s.half.y - along), s.half.x - length(q - s.edge_u * along));
    }
    case ShapeKind::ellipsoid: {
      const Float3 u = {q.x / s.half.x, q.y / s.half.y, q.z / s.half.z};
      return 1 - length(u);
    }
    case ShapeKind::quad:
      return std::fabs(dot(q, normalized(cross(s.edge_u, s.edge_v))));
  }
  return 0;
}

}  // namespace

TEST_CASE("crossings lie on the surface and are the first along the ray") {
  CAPTURE(seamwright::test::seed());
  Random random(11);
  int hits = 0;
  for (int round = 0; round < 4000; ++round) {
    const Scene scene = some_shapes(random);
    const Float3 origin = point_anywhere(random, 3);
    const Ray ray{origin, normalized(point_anywhere(random, 1.5F) - origin)};
    for (const Shape& shape : scene.shapes) {
      Crossing crossing;
      if (!crosses(shape, ray, 1e-4F, 100, crossing)) {
        continue;
      }
      ++hits;
      const Float3 at = ray.origin + ray.direction * crossing.t;
      CAPTURE(static_cast<int>(shape.kind));
      CHECK(std::fabs(signed_inside(shape, at)) < 2e-5F);
      if (shape.kind != ShapeKind::quad) {
        const bool starts_outside = signed_inside(shape, ray.origin) < 0;
        for (int k = 1; k < 20; ++k) {
          const float t = crossing.t * static_cast<float>(k) / 20.0F;
          const float inside = signed_inside(shape, ray.origin + ray.direction * t);
          CHECK((starts_outside ? inside < 2e-5F : inside > -2e-5F));
        }
      }
      const FaceFrame frame = face_frame(shape, crossing.face, at);
      CHECK(length(frame.normal) == Approx(1).margin(1e-5));
      CHECK(frame.point.u > -1e-4F);
      CHECK(frame.point.u < frame.point.width + 1e-4F);
      CHECK(frame.point.v > -1e-4F);
      CHECK(frame.point.v < frame.point.height + 1e-4F);
    }
  }
  CHECK(hits > 400);
}

TEST_CASE("texture coordinates grow to the right and down for who looks from outside") {
  Scene scene;
  Builder b(scene);
  b.enter({0.3F, 1, 0.2F, 35});
  b.box({-0.5F, -0.4F, -0.3F}, {0.5F, 0.4F, 0.3F}, 0);
  const Shape& box = scene.shapes.front();
  for (int face = 0; face < kFaceCount; ++face) {
    CAPTURE(face);
    const FaceFrame probe = face_frame(box, face, box.centre);
    const Float3 n = probe.normal;
    const Float3 on_face = box.centre + n * (face / 2 == 0 ? 0.5F : (face / 2 == 1 ? 0.4F : 0.3F));
    const FaceFrame middle = face_frame(box, face, on_face);
    const Float3 helper = std::fabs(n.y) > 0.9F ? Float3{0, 0, 1} : Float3{0, 1, 0};
    const Float3 a = normalized(cross(n, helper));
    const Float3 c = cross(n, a);
    // Gradient of (u, v) over the two tangents; its orientation seen along −n must be that of
    // (right, down), which turn into each other clockwise.
    const auto at = [&](const Float3& step) {
      return face_frame(box, face, on_face + step * 0.01F).point;
    };
    const float ua = (at(a).u - middle.point.u) / 0.01F;
    const float va = (at(a).v - middle.point.v) / 0.01F;
    const float uc = (at(c).u - middle.point.u) / 0.01F;
    const float vc = (at(c).v - middle.point.v) / 0.01F;
    const Float3 right = a * ua + c * uc;
    const Float3 down = a * va + c * vc;
    CHECK(length(right) == Approx(1).margin(1e-3));
    CHECK(dot(cross(right, down), -n) == Approx(1).margin(1e-3));
    if (std::fabs(n.y) < 0.5F) {
      CHECK(down.y == Approx(1).margin(1e-3));
    }
  }
}
