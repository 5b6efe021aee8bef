#include "demo/caster/bvh.h"

#include <algorithm>
#include <array>

namespace seamwright::demo {
namespace {

constexpr int kStackDepth = 64;

float component(const Float3& v, int axis) { return axis == 0 ? v.x : (axis == 1 ? v.y : v.z); }

Bounds joined(const Bounds& a, const Bounds& b) {
  return {smaller(a.low, b.low), larger(a.high, b.high)};
}

float half_area(const Bounds& b) {
  const Float3 d = b.high - b.low;
  return d.x * d.y + d.y * d.z + d.z * d.x;
}

float middle(const Shape& shape, int axis) {
  const Bounds b = bounds_of(shape);
  return 0.5F * (component(b.low, axis) + component(b.high, axis));
}

struct Slabs {
  Float3 origin, inverse;

  explicit Slabs(const Ray& ray) : origin(ray.origin) {
    const auto invert = [](float d) {
      return 1.0F / (std::fabs(d) < 1e-20F ? std::copysign(1e-20F, d) : d);
    };
    inverse = {invert(ray.direction.x), invert(ray.direction.y), invert(ray.direction.z)};
  }

  [[nodiscard]] bool meets(const Float3& low, const Float3& high, float min_t, float max_t) const {
    const Float3 a = (low - origin) * inverse;
    const Float3 b = (high - origin) * inverse;
    const float enter = larger(min_t, max3(smaller(a, b)));
    const float leave = smaller(max_t, min3(larger(a, b)));
    return enter <= leave * 1.0000004F;
  }
};

struct Split {
  float cost = 1e30F;
  int axis = 0;
  int count = 0;  ///< shapes on the left
};

/// Sorts by `axis` and returns the best cut.
Split best_split(std::vector<Shape>& shapes, int begin, int end, int axis) {
  std::stable_sort(
      shapes.begin() + begin, shapes.begin() + end,
      [&](const Shape& a, const Shape& b) { return middle(a, axis) < middle(b, axis); });
  const int count = end - begin;
  std::vector<float> right(static_cast<std::size_t>(count));
  const auto shape = [&](int i) -> const Shape& {
    return shapes[static_cast<std::size_t>(begin + i)];
  };
  Bounds box = bounds_of(shape(count - 1));
  for (int i = count - 1; i > 0; --i) {
    box = joined(box, bounds_of(shape(i)));
    right[static_cast<std::size_t>(i)] = half_area(box) * static_cast<float>(count - i);
  }
  Split best{.axis = axis};
  box = bounds_of(shape(0));
  for (int i = 1; i < count; ++i) {
    box = joined(box, bounds_of(shape(i - 1)));
    const float cost = half_area(box) * static_cast<float>(i) + right[static_cast<std::size_t>(i)];
    if (cost < best.cost) {
      best = {cost, axis, i};
    }
  }
  return best;
}

}  // namespace

void Bvh::build(std::vector<Shape>& shapes) {
  nodes_.clear();
  if (!shapes.empty()) {
    build_node(shapes, 0, static_cast<int>(shapes.size()));
  }
}

void Bvh::build_node(std::vector<Shape>& shapes, int begin, int end) {
  const std::size_t index = nodes_.size();
  nodes_.emplace_back();
  Bounds box = bounds_of(shapes[static_cast<std::size_t>(begin)]);
  for (int i = begin + 1; i < end; ++i) {
    box = joined(box, bounds_of(shapes[static_cast<std::size_t>(i)]));
  }
  nodes_[index].low = box.low;
  nodes_[index].high = box.high;
  if (end - begin <= 2) {
    nodes_[index].first = begin;
    nodes_[index].count = static_cast<std::int16_t>(end - begin);
    return;
  }
  Split best;
  for (int axis = 0; axis < 3; ++axis) {
    const Split split = best_split(shapes, begin, end, axis);
    if (split.cost < best.cost) {
      best = split;
    }
  }
  best = best_split(shapes, begin, end, best.axis);
  nodes_[index].axis = static_cast<std::int16_t>(best.axis);
  build_node(shapes, begin, begin + best.count);
  nodes_[index].first = static_cast<std::int32_t>(nodes_.size());
  build_node(shapes, begin + best.count, end);
}

int Bvh::nearest(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t,
                 Crossing& crossing) const {
  const Slabs slabs(ray);
  const std::array<bool, 3> backwards = {ray.direction.x < 0, ray.direction.y < 0,
                                         ray.direction.z < 0};
  std::array<std::int32_t, kStackDepth> stack;
  int depth = 0;
  int found = -1;
  std::int32_t at = nodes_.empty() ? -1 : 0;
  while (at >= 0) {
    const Node& node = nodes_[static_cast<std::size_t>(at)];
    std::int32_t next = -1;
    if (slabs.meets(node.low, node.high, min_t, max_t)) {
      if (node.count > 0) {
        for (int i = node.first; i < node.first + node.count; ++i) {
          if (crosses(shapes[static_cast<std::size_t>(i)], ray, min_t, max_t, crossing)) {
            max_t = crossing.t;
            found = i;
          }
        }
      } else {
        const bool back = backwards[static_cast<std::size_t>(node.axis)];
        next = back ? node.first : at + 1;
        stack[static_cast<std::size_t>(depth++)] = back ? at + 1 : node.first;
      }
    }
    if (next < 0 && depth > 0) {
      next = stack[static_cast<std::size_t>(--depth)];
    }
    at = next;
  }
  return found;
}

bool Bvh::any(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t) const {
  const Slabs slabs(ray);
  std::array<std::int32_t, kStackDepth> stack;
  int depth = 0;
  Crossing ignored;
  std::int32_t at = nodes_.empty() ? -1 : 0;
  while (at >= 0) {
    const Node& node = nodes_[static_cast<std::size_t>(at)];
    std::int32_t next = -1;
    if (slabs.meets(node.low, node.high, min_t, max_t)) {
      if (node.count > 0) {
        for (int i = node.first; i < node.first + node.count; ++i) {
          if (crosses(shapes[static_cast<std::size_t>(i)], ray, min_t, max_t, ignored)) {
            return true;
          }
        }
      } else {
        next = at + 1;
        stack[static_cast<std::size_t>(depth++)] = node.first;
      }
    }
    if (next < 0 && depth > 0) {
      next = stack[static_cast<std::size_t>(--depth)];
    }
    at = next;
  }
  return false;
}

}  // namespace seamwright::demo
