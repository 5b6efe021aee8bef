#include "apps/demo/caster/bvh.h"

#include <catch2/catch.hpp>

#include "apps/demo/house/builder.h"
#include "tests/support/random.h"

using namespace seamwright::demo;
using seamwright::test::Random;

namespace {

float even(Random& random, float low, float high) {
  return static_cast<float>(random.uniform(low, high));
}
Float3 anywhere(Random& random, float reach) {
  return {even(random, -reach, reach), even(random, -reach, reach), even(random, -reach, reach)};
}

Scene crowd(Random& random, int count) {
  Scene scene;
  Builder b(scene);
  for (int i = 0; i < count; ++i) {
    b.enter(
        {even(random, -5, 5), even(random, -5, 5), even(random, -5, 5), even(random, -180, 180)});
    const float size = even(random, 0.02F, 0.8F);
    switch (i % 4) {
      case 0:
        b.box({-size, -size, -size}, {size, 2 * size, 0.3F * size}, 0);
        break;
      case 1:
        b.cylinder({0, 0, 0}, anywhere(random, 1), 0.2F * size, 0);
        break;
      case 2:
        b.ellipsoid({0, 0, 0}, {size, 0.5F * size, size}, 0);
        break;
      default:
        b.quad({0, 0, 0}, anywhere(random, 1), anywhere(random, 1), 0);
        break;
    }
    scene.shapes.back().casts_shadow = i % 5 != 0;
    b.leave();
  }
  return scene;
}

}  // namespace

TEST_CASE("the hierarchy finds what trying every shape finds") {
  CAPTURE(seamwright::test::seed());
  Random random(12);
  for (const int count : {1, 2, 3, 5, 8, 300}) {
    CAPTURE(count);
    Scene scene = crowd(random, count);
    scene.bvh.build(scene.shapes);
    int hits = 0;
    for (int i = 0; i < 3000; ++i) {
      Ray ray{anywhere(random, 6), normalized(anywhere(random, 1))};
      if (i % 7 == 0) {
        ray.direction = {0, 0, i % 2 == 0 ? 1.0F : -1.0F};  // along an axis
      }
      int expected = -1;
      bool expected_shadow = false;
      Crossing crossing;
      float nearest = 50;
      for (std::size_t k = 0; k < scene.shapes.size(); ++k) {
        if (crosses(scene.shapes[k], ray, 1e-4F, nearest, crossing)) {
          nearest = crossing.t;
          expected = static_cast<int>(k);
        }
        Crossing any;
        expected_shadow = expected_shadow || (scene.shapes[k].casts_shadow &&
                                              crosses(scene.shapes[k], ray, 1e-4F, 50, any));
      }
      Crossing found;
      const int index = scene.bvh.nearest(scene.shapes, ray, 1e-4F, 50, found);
      CHECK(index == expected);
      if (index >= 0) {
        ++hits;
        CHECK(found.t == nearest);
      }
      CHECK(scene.bvh.any(scene.shapes, ray, 1e-4F, 50) == expected_shadow);
    }
    if (count == 300) {
      CHECK(hits > 500);
    }
  }
}

TEST_CASE("an empty hierarchy sees nothing") {
  Scene scene;
  scene.bvh.build(scene.shapes);
  Crossing crossing;
  const Ray ray{{0, 0, 0}, {0, 0, 1}};
  CHECK(scene.bvh.nearest(scene.shapes, ray, 0, 1e6F, crossing) == -1);
  CHECK_FALSE(scene.bvh.any(scene.shapes, ray, 0, 1e6F));
}
