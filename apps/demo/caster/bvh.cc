#include "apps/demo/caster/bvh.h"

#include <algorithm>

namespace seamwright::demo {
namespace {

constexpr int kLeafShapes = 1;
constexpr int kStackDepth = 128;

float component(const Float3& v, std::size_t axis) {
  return axis == 0 ? v.x : (axis == 1 ? v.y : v.z);
}

Bounds joined(const Bounds& a, const Bounds& b) {
  return {smaller(a.low, b.low), larger(a.high, b.high)};
}

Bounds bounds_of_range(const std::vector<Shape>& shapes, int begin, int end) {
  Bounds box = bounds_of(shapes[static_cast<std::size_t>(begin)]);
  for (int i = begin + 1; i < end; ++i) {
    box = joined(box, bounds_of(shapes[static_cast<std::size_t>(i)]));
  }
  return box;
}

float half_area(const Bounds& b) {
  const Float3 d = b.high - b.low;
  return d.x * d.y + d.y * d.z + d.z * d.x;
}

struct Split {
  float cost = 1e30F;
  int count = 0;  ///< shapes on the left
};

void sort_along(std::vector<Shape>& shapes, int begin, int end, std::size_t axis) {
  const auto middle = [&](const Shape& s) {
    const Bounds b = bounds_of(s);
    return component(b.low, axis) + component(b.high, axis);
  };
  std::stable_sort(shapes.begin() + begin, shapes.begin() + end,
                   [&](const Shape& a, const Shape& b) { return middle(a) < middle(b); });
}

/// The best cut of shapes sorted along one axis.
Split best_cut(const std::vector<Shape>& shapes, int begin, int end) {
  const int count = end - begin;
  std::vector<float> right(static_cast<std::size_t>(count));
  const auto box_of = [&](int i) { return bounds_of(shapes[static_cast<std::size_t>(begin + i)]); };
  Bounds box = box_of(count - 1);
  for (int i = count - 1; i > 0; --i) {
    box = joined(box, box_of(i));
    right[static_cast<std::size_t>(i)] = half_area(box) * static_cast<float>(count - i);
  }
  Split best;
  box = box_of(0);
  for (int i = 1; i < count; ++i) {
    box = joined(box, box_of(i - 1));
    const float cost = half_area(box) * static_cast<float>(i) + right[static_cast<std::size_t>(i)];
    if (cost < best.cost) {
      best = {cost, i};
    }
  }
  return best;
}

/// Sorts the range for its best split and returns where it falls.
int split(std::vector<Shape>& shapes, int begin, int end) {
  float best_cost = 1e30F;
  std::size_t best_axis = 0;
  for (std::size_t axis = 0; axis < 3; ++axis) {
    sort_along(shapes, begin, end, axis);
    const Split cut = best_cut(shapes, begin, end);
    if (cut.cost < best_cost) {
      best_cost = cut.cost;
      best_axis = axis;
    }
  }
  sort_along(shapes, begin, end, best_axis);
  return begin + best_cut(shapes, begin, end).count;
}

}  // namespace

struct Bvh::RaySlabs {
  Lanes origin[3], inverse[3];
  std::array<bool, 3> backwards;

  explicit RaySlabs(const Ray& ray) {
    for (std::size_t axis = 0; axis < 3; ++axis) {
      const float d = component(ray.direction, axis);
      const float inverted = 1.0F / (std::fabs(d) < 1e-20F ? std::copysign(1e-20F, d) : d);
      origin[axis] = same(component(ray.origin, axis));
      inverse[axis] = same(inverted);
      backwards[axis] = inverted < 0.0F;
    }
  }
};

/// Where a ray enters each child's box; children it misses have `hit` false.
struct Bvh::Meetings {
  Lanes enter;
  std::array<bool, kWidth> hit;
};

Bvh::Meetings Bvh::meet(const Node& node, const RaySlabs& ray, float min_t, float max_t) {
  Lanes enter = same(min_t);
  Lanes leave = same(max_t);
  for (std::size_t axis = 0; axis < 3; ++axis) {
    const Lanes near = ray.backwards[axis] ? node.high[axis] : node.low[axis];
    const Lanes far = ray.backwards[axis] ? node.low[axis] : node.high[axis];
    enter = larger((near - ray.origin[axis]) * ray.inverse[axis], enter);
    leave = smaller((far - ray.origin[axis]) * ray.inverse[axis], leave);
  }
  leave = leave * same(1.0000004F);
  Meetings out;
  out.enter = enter;
  for (std::size_t i = 0; i < kWidth; ++i) {
    out.hit[i] = enter[i] <= leave[i];
  }
  return out;
}

void Bvh::build(std::vector<Shape>& shapes) {
  nodes_.clear();
  if (!shapes.empty()) {
    build_node(shapes, {0, static_cast<int>(shapes.size())});
  }
}

int Bvh::build_node(std::vector<Shape>& shapes, const Range& range) {
  // Split the largest part until there are four.
  std::vector<Range> parts = {range};
  while (parts.size() < kWidth) {
    const auto widest =
        std::max_element(parts.begin(), parts.end(),
                         [](const Range& a, const Range& b) { return a.count() < b.count(); });
    if (widest->count() <= kLeafShapes) {
      break;
    }
    const int cut = split(shapes, widest->begin, widest->end);
    const Range second{cut, widest->end};
    widest->end = cut;
    parts.push_back(second);
  }
  const std::size_t index = nodes_.size();
  nodes_.emplace_back();
  for (std::size_t i = 0; i < kWidth; ++i) {
    // A box that no ray meets stands in for a missing child.
    Bounds box{{1e30F, 1e30F, 1e30F}, {-1e30F, -1e30F, -1e30F}};
    std::int32_t child = 0;
    std::int32_t count = 0;
    if (i < parts.size()) {
      box = bounds_of_range(shapes, parts[i].begin, parts[i].end);
      const bool leaf = parts[i].count() <= kLeafShapes;
      count = leaf ? parts[i].count() : 0;
      child = leaf ? parts[i].begin : build_node(shapes, parts[i]);
    }
    Node& node = nodes_[index];
    for (std::size_t axis = 0; axis < 3; ++axis) {
      node.low[axis][i] = component(box.low, axis);
      node.high[axis][i] = component(box.high, axis);
    }
    node.child[i] = child;
    node.count[i] = count;
  }
  return static_cast<int>(index);
}

int Bvh::nearest(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t,
                 Crossing& crossing) const {
  struct Waiting {
    float enter;
    std::int32_t child, count;
  };
  std::array<Waiting, kStackDepth> stack;
  std::size_t depth = 0;
  const RaySlabs slabs(ray);
  int found = -1;
  if (!nodes_.empty()) {
    stack[depth++] = {min_t, 0, 0};
  }
  while (depth > 0) {
    const Waiting at = stack[--depth];
    if (at.enter > max_t) {
      continue;
    }
    if (at.count > 0) {
      for (int i = at.child; i < at.child + at.count; ++i) {
        if (crosses(shapes[static_cast<std::size_t>(i)], ray, min_t, max_t, crossing)) {
          max_t = crossing.t;
          found = i;
        }
      }
      continue;
    }
    const Node& node = nodes_[static_cast<std::size_t>(at.child)];
    const Meetings met = meet(node, slabs, min_t, max_t);
    const std::size_t first = depth;
    for (std::size_t i = 0; i < kWidth; ++i) {
      if (met.hit[i]) {
        // Keep the new entries sorted, nearest on top.
        std::size_t slot = depth++;
        while (slot > first && stack[slot - 1].enter < met.enter[i]) {
          stack[slot] = stack[slot - 1];
          --slot;
        }
        stack[slot] = {met.enter[i], node.child[i], node.count[i]};
      }
    }
  }
  return found;
}

bool Bvh::any(const std::vector<Shape>& shapes, const Ray& ray, float min_t, float max_t) const {
  std::array<std::int32_t, kStackDepth> stack;
  std::size_t depth = 0;
  const RaySlabs slabs(ray);
  Crossing ignored;
  if (!nodes_.empty()) {
    stack[depth++] = 0;
  }
  while (depth > 0) {
    const Node& node = nodes_[static_cast<std::size_t>(stack[--depth])];
    const Meetings met = meet(node, slabs, min_t, max_t);
    for (std::size_t i = 0; i < kWidth; ++i) {
      if (!met.hit[i]) {
        continue;
      }
      if (node.count[i] == 0) {
        stack[depth++] = node.child[i];
        continue;
      }
      for (int k = node.child[i]; k < node.child[i] + node.count[i]; ++k) {
        const Shape& shape = shapes[static_cast<std::size_t>(k)];
        if (shape.casts_shadow && crosses(shape, ray, min_t, max_t, ignored)) {
          return true;
        }
      }
    }
  }
  return false;
}

}  // namespace seamwright::demo
