#pragma once

#include <cstdint>
#include <vector>

#include "demo/caster/shape.h"

namespace seamwright::demo {

/// Bounding volume hierarchy over shapes: binary, split by the surface area heuristic
/// (Goldsmith & Salmon 1987). Thread-safe once built.
class Bvh {
 public:
  /// Reorders `shapes` so that leaves are consecutive.
  void build(std::vector<Shape>& shapes);

  /// Index of the nearest shape crossed between min_t and max_t, −1 for none.
  int nearest(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t,
              Crossing& crossing) const;
  /// True when any shape is crossed.
  bool any(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t) const;

 private:
  struct Node {
    Float3 low, high;
    std::int32_t first = 0;  ///< first shape of a leaf, right child of an inner node
    std::int16_t count = 0;  ///< shapes of a leaf; 0 for an inner node, left child follows it
    std::int16_t axis = 0;
  };

  void build_node(std::vector<Shape>& shapes, int begin, int end);

  std::vector<Node> nodes_;
};

}  // namespace seamwright::demo
