#pragma once

// Four floats at once, for boxes. Compilers with vector types use one instruction each; others get
// the same results from loops.

#include <cstddef>
#include <cstdint>

namespace seamwright::demo {

inline constexpr std::size_t kLanes = 4;

#if defined(__GNUC__)

using Lanes = float __attribute__((vector_size(16)));

inline Lanes same(float x) { return Lanes{x, x, x, x}; }
inline Lanes larger(Lanes a, Lanes b) { return a > b ? a : b; }
inline Lanes smaller(Lanes a, Lanes b) { return a < b ? a : b; }

#else

struct Lanes {
  float value[kLanes];
  float& operator[](std::size_t i) { return value[i]; }
  float operator[](std::size_t i) const { return value[i]; }
};

template <class Each>
inline Lanes each_lane(const Each& each) {
  return {each(0), each(1), each(2), each(3)};
}
inline Lanes same(float x) { return {x, x, x, x}; }
inline Lanes operator-(Lanes a, Lanes b) {
  return each_lane([&](std::size_t i) { return a[i] - b[i]; });
}
inline Lanes operator*(Lanes a, Lanes b) {
  return each_lane([&](std::size_t i) { return a[i] * b[i]; });
}
inline Lanes larger(Lanes a, Lanes b) {
  return each_lane([&](std::size_t i) { return a[i] > b[i] ? a[i] : b[i]; });
}
inline Lanes smaller(Lanes a, Lanes b) {
  return each_lane([&](std::size_t i) { return a[i] < b[i] ? a[i] : b[i]; });
}

#endif

}  // namespace seamwright::demo
