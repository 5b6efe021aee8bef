#include "apps/demo/caster/light_grid.h"

#include <algorithm>

#include "apps/demo/caster/noise.h"

namespace seamwright::demo {
namespace {

void add(LightGrid::Node& sum, const LightGrid::Node& other, float weight) {
  for (std::size_t i = 0; i < sum.size(); ++i) {
    sum[i] += other[i] * weight;
  }
}

}  // namespace

LightGrid::LightGrid(const Bounds& bounds, float cell_m) : cell_m_(cell_m) {
  const Float3 size = bounds.high - bounds.low;
  const auto cells = [&](float extent) { return std::max(2, floor_int(extent / cell_m + 0.5F)); };
  count_ = {cells(size.x), cells(size.y), cells(size.z)};
  step_ = {size.x / static_cast<float>(count_[0]), size.y / static_cast<float>(count_[1]),
           size.z / static_cast<float>(count_[2])};
  first_ = bounds.low + step_ * 0.5F;
  const auto total = static_cast<std::size_t>(count_[0] * count_[1] * count_[2]);
  nodes_.resize(total);
  solid_.assign(total, 0);
}

Float3 LightGrid::position(int at) const {
  const int x = at % count_[0];
  const int y = (at / count_[0]) % count_[1];
  const int z = at / (count_[0] * count_[1]);
  return first_ +
         step_ * Float3{static_cast<float>(x), static_cast<float>(y), static_cast<float>(z)};
}

std::vector<int> LightGrid::neighbours(int at) const {
  const std::array<int, 3> cell = {at % count_[0], (at / count_[0]) % count_[1],
                                   at / (count_[0] * count_[1])};
  const std::array<int, 3> stride = {1, count_[0], count_[0] * count_[1]};
  std::vector<int> out;
  for (std::size_t axis = 0; axis < 3; ++axis) {
    if (cell[axis] > 0) {
      out.push_back(at - stride[axis]);
    }
    if (cell[axis] + 1 < count_[axis]) {
      out.push_back(at + stride[axis]);
    }
  }
  return out;
}

void LightGrid::finish() {
  for (int round = 0; round < 4; ++round) {
    fill_solid();
  }
  smooth();
  smooth();
}

void LightGrid::fill_solid() {
  std::vector<int> filled;
  std::vector<Node> values;
  for (int at = 0; at < size(); ++at) {
    if (solid_[static_cast<std::size_t>(at)] == 0) {
      continue;
    }
    Node sum{};
    int open = 0;
    for (const int other : neighbours(at)) {
      if (solid_[static_cast<std::size_t>(other)] == 0) {
        add(sum, nodes_[static_cast<std::size_t>(other)], 1.0F);
        ++open;
      }
    }
    if (open > 0) {
      Node mean{};
      add(mean, sum, 1.0F / static_cast<float>(open));
      filled.push_back(at);
      values.push_back(mean);
    }
  }
  for (std::size_t i = 0; i < filled.size(); ++i) {
    nodes_[static_cast<std::size_t>(filled[i])] = values[i];
    solid_[static_cast<std::size_t>(filled[i])] = 0;
  }
}

void LightGrid::smooth() {
  std::vector<Node> result(nodes_.size());
  for (int at = 0; at < size(); ++at) {
    const std::vector<int> around = neighbours(at);
    Node mean{};
    add(mean, nodes_[static_cast<std::size_t>(at)], 0.5F);
    for (const int other : around) {
      add(mean, nodes_[static_cast<std::size_t>(other)], 0.5F / static_cast<float>(around.size()));
    }
    result[static_cast<std::size_t>(at)] = mean;
  }
  nodes_ = std::move(result);
}

Rgb LightGrid::irradiance(const Float3& position, const Float3& normal) const {
  const Float3 q = position - first_;
  const auto place = [](float x, int count, int& cell) {
    const float clamped = std::clamp(x, 0.0F, static_cast<float>(count - 1) - 1e-3F);
    cell = static_cast<int>(clamped);
    return clamped - static_cast<float>(cell);
  };
  int ix = 0;
  int iy = 0;
  int iz = 0;
  const float fx = place(q.x / step_.x, count_[0], ix);
  const float fy = place(q.y / step_.y, count_[1], iy);
  const float fz = place(q.z / step_.z, count_[2], iz);
  const std::size_t face_x = normal.x > 0 ? 0 : 1;
  const std::size_t face_y = normal.y > 0 ? 2 : 3;
  const std::size_t face_z = normal.z > 0 ? 4 : 5;
  const Float3 share = normal * normal;
  Rgb sum;
  for (int corner = 0; corner < 8; ++corner) {
    const int dx = corner & 1;
    const int dy = (corner >> 1) & 1;
    const int dz = corner >> 2;
    const float weight =
        (dx != 0 ? fx : 1.0F - fx) * (dy != 0 ? fy : 1.0F - fy) * (dz != 0 ? fz : 1.0F - fz);
    const Node& n = nodes_[static_cast<std::size_t>(index(ix + dx, iy + dy, iz + dz))];
    sum += (n[face_x] * share.x + n[face_y] * share.y + n[face_z] * share.z) * weight;
  }
  return sum;
}

}  // namespace seamwright::demo
