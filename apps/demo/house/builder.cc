#include "apps/demo/house/builder.h"

#include <algorithm>
#include <numbers>

namespace seamwright::demo {

MaterialId Builder::material(Material m) {
  m.seed = m.seed * 977U + static_cast<std::uint32_t>(scene_.materials.size()) * 131U;
  scene_.materials.push_back(std::move(m));
  return static_cast<MaterialId>(scene_.materials.size() - 1);
}

Float3 Builder::turned(const Float3& v) const {
  const float heading = places_.back().heading_rad;
  const float c = std::cos(heading);
  const float s = std::sin(heading);
  return {c * v.x + s * v.z, v.y, -s * v.x + c * v.z};
}

void Builder::enter(const Place& place) {
  const Float3 origin = places_.back().origin + turned({place.x, place.height, place.z});
  const float turn = place.heading_deg * std::numbers::pi_v<float> / 180.0F;
  places_.push_back({origin, places_.back().heading_rad + turn});
}

void Builder::leave() { places_.pop_back(); }

Float3 Builder::to_world(const Float3& local) const {
  const Float3 p = places_.back().origin + turned(local);
  return {p.x, -p.y, p.z};
}

Shape& Builder::add(ShapeKind kind) {
  Shape& shape = scene_.shapes.emplace_back();
  shape.kind = kind;
  shape.seed = static_cast<std::uint32_t>(scene_.shapes.size());
  return shape;
}

void Builder::box(const Float3& low, const Float3& high, const Faces& faces) {
  Shape& s = add(ShapeKind::box);
  s.centre = to_world((low + high) * 0.5F);
  s.half = (high - low) * 0.5F;
  s.cos_turn = std::cos(places_.back().heading_rad);
  s.sin_turn = std::sin(places_.back().heading_rad);
  s.materials = faces;
}

void Builder::quad(const Float3& corner, const Float3& right, const Float3& down, MaterialId m) {
  Shape& s = add(ShapeKind::quad);
  s.centre = to_world(corner);
  const auto direction = [&](const Float3& v) {
    const Float3 t = turned(v);
    return Float3{t.x, -t.y, t.z};
  };
  s.edge_u = direction(right);
  s.edge_v = direction(down);
  s.materials = all(m);
}

void Builder::cylinder(const Float3& from, const Float3& to, float radius, MaterialId side,
                       MaterialId caps) {
  Shape& s = add(ShapeKind::cylinder);
  s.centre = to_world(from);
  const Float3 axis = to_world(to) - s.centre;
  s.half = {radius, length(axis), radius};
  s.edge_u = normalized(axis);
  s.materials = all(side);
  s.materials[kTop] = caps;
  s.materials[kBottom] = caps;
}

void Builder::ellipsoid(const Float3& centre, const Float3& half, MaterialId m) {
  Shape& s = add(ShapeKind::ellipsoid);
  s.centre = to_world(centre);
  s.half = half;
  s.materials = all(m);
}

void Builder::wall(const Wall& w, std::vector<Opening> openings, const Faces& faces) {
  const auto piece = [&](float from, float to, float bottom, float top) {
    if (to - from < 1e-3F || top - bottom < 1e-3F) {
      return;
    }
    if (w.along == Along::x) {
      box({from, bottom, w.side_low}, {to, top, w.side_high}, faces);
    } else {
      box({w.side_low, bottom, from}, {w.side_high, top, to}, faces);
    }
  };
  std::sort(openings.begin(), openings.end(),
            [](const Opening& a, const Opening& b) { return a.from < b.from; });
  float done = w.from;
  for (const Opening& gap : openings) {
    const float from = std::max(gap.from, w.from);
    const float to = std::min(gap.to, w.to);
    piece(done, from, w.bottom, w.top);
    piece(from, to, w.bottom, std::min(gap.bottom, w.top));
    piece(from, to, std::max(gap.top, w.bottom), w.top);
    done = to;
  }
  piece(done, w.to, w.bottom, w.top);
}

}  // namespace seamwright::demo
