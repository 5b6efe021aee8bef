#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "apps/demo/caster/lanes.h"
#include "apps/demo/caster/shape.h"

namespace seamwright::demo {

/// Bounding volume hierarchy over shapes: split by the surface area heuristic (Goldsmith & Salmon
/// 1987), four children a node so that one ray meets four boxes at a time. Thread-safe once built.
class Bvh {
 public:
  /// Reorders `shapes` so that leaves are consecutive.
  void build(std::vector<Shape>& shapes);

  /// Index of the nearest shape crossed between min_t and max_t, −1 for none.
  int nearest(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t,
              Crossing& crossing) const;
  /// True when any shape that casts a shadow is crossed.
  bool any(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t) const;

 private:
  static constexpr std::size_t kWidth = kLanes;

  /// Shapes [begin, end) of the sorted list.
  struct Range {
    int begin = 0, end = 0;
    [[nodiscard]] int count() const { return end - begin; }
  };

  struct alignas(16) Node {
    Lanes low[3], high[3];                     ///< by axis, then child
    std::array<std::int32_t, kWidth> child{};  ///< node, or first shape of a leaf
    std::array<std::int32_t, kWidth> count{};  ///< shapes of a leaf; 0: a node
  };

  struct RaySlabs;
  struct Meetings;

  int build_node(std::vector<Shape>& shapes, const Range& range);
  static Meetings meet(const Node& node, const RaySlabs& ray, float min_t, float max_t);

  std::vector<Node> nodes_;
};

}  // namespace seamwright::demo
