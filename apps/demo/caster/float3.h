#pragma once

#include <cmath>

namespace seamwright::demo {

/// Three floats: points and directions of the ray caster (metres, world axes: x right, y down,
/// z forward), and linear light in red, green, blue.
struct Float3 {
  float x = 0, y = 0, z = 0;

  Float3& operator+=(const Float3& o) {
    x += o.x;
    y += o.y;
    z += o.z;
    return *this;
  }
};

using Rgb = Float3;

inline Float3 operator+(const Float3& a, const Float3& b) {
  return {a.x + b.x, a.y + b.y, a.z + b.z};
}
inline Float3 operator-(const Float3& a, const Float3& b) {
  return {a.x - b.x, a.y - b.y, a.z - b.z};
}
inline Float3 operator-(const Float3& a) { return {-a.x, -a.y, -a.z}; }
/// Component by component.
inline Float3 operator*(const Float3& a, const Float3& b) {
  return {a.x * b.x, a.y * b.y, a.z * b.z};
}
inline Float3 operator*(const Float3& a, float s) { return {a.x * s, a.y * s, a.z * s}; }
inline Float3 operator*(float s, const Float3& a) { return a * s; }

inline float dot(const Float3& a, const Float3& b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
inline Float3 cross(const Float3& a, const Float3& b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
inline float length(const Float3& a) { return std::sqrt(dot(a, a)); }
inline Float3 normalized(const Float3& a) { return a * (1.0F / length(a)); }

inline float min3(const Float3& a) {
  return a.x < a.y ? (a.x < a.z ? a.x : a.z) : (a.y < a.z ? a.y : a.z);
}
inline float max3(const Float3& a) {
  return a.x > a.y ? (a.x > a.z ? a.x : a.z) : (a.y > a.z ? a.y : a.z);
}
inline float smaller(float a, float b) { return a < b ? a : b; }
inline float larger(float a, float b) { return a > b ? a : b; }
inline Float3 smaller(const Float3& a, const Float3& b) {
  return {smaller(a.x, b.x), smaller(a.y, b.y), smaller(a.z, b.z)};
}
inline Float3 larger(const Float3& a, const Float3& b) {
  return {larger(a.x, b.x), larger(a.y, b.y), larger(a.z, b.z)};
}
inline float clamp01(float a) { return a < 0.0F ? 0.0F : (a > 1.0F ? 1.0F : a); }
inline float mix(float a, float b, float t) { return a + (b - a) * t; }
inline Float3 mix(const Float3& a, const Float3& b, float t) { return a + (b - a) * t; }

}  // namespace seamwright::demo
