#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "apps/demo/caster/float3.h"
#include "apps/demo/caster/shape.h"

namespace seamwright::demo {

/// Irradiance stored on a coarse lattice of a room's air, for six normals a node: soft light
/// that has been once or more around the room.
class LightGrid {
 public:
  /// Irradiance for surfaces that face +x, −x, +y, −y, +z, −z.
  using Node = std::array<Rgb, 6>;

  LightGrid() = default;
  /// Nodes about `cell_m` apart, the outermost half a cell inside the bounds.
  LightGrid(const Bounds& bounds, float cell_m);

  [[nodiscard]] bool empty() const { return nodes_.empty(); }
  [[nodiscard]] int size() const { return static_cast<int>(nodes_.size()); }
  [[nodiscard]] Float3 position(int index) const;
  [[nodiscard]] Node& node(int index) { return nodes_[static_cast<std::size_t>(index)]; }
  [[nodiscard]] float cell_m() const { return cell_m_; }

  /// Marks a node that lies inside something solid.
  void set_solid(int index) { solid_[static_cast<std::size_t>(index)] = 1; }
  /// Gives solid nodes the mean of their open neighbours, and smooths everything a little.
  void finish();

  [[nodiscard]] Rgb irradiance(const Float3& position, const Float3& normal) const;

 private:
  [[nodiscard]] int index(int x, int y, int z) const { return (z * count_[1] + y) * count_[0] + x; }
  [[nodiscard]] std::vector<int> neighbours(int index) const;
  void fill_solid();
  void smooth();

  Float3 first_;
  Float3 step_;
  float cell_m_ = 1;
  std::array<int, 3> count_{};
  std::vector<Node> nodes_;
  std::vector<std::uint8_t> solid_;
};

}  // namespace seamwright::demo
