#pragma once

// Code values between sample types.

#include <cstdint>
#include <limits>
#include <type_traits>

namespace seamwright {

/// 0…1 to a sample: integers rounded to nearest and clamped, NaN to 0; float as it is. The product
/// is formed in float, so a value within 1/256 step of the middle may go either way.
template <class T>
[[nodiscard]] inline T sample_from_unit(float value) {
  if constexpr (std::is_same_v<T, float>) {
    return value;
  } else {
    constexpr float kMax = std::numeric_limits<T>::max();
    const float above = value > 0.0F ? value : 0.0F;
    const float clamped = above < 1.0F ? above : 1.0F;
    // Not negative, and a library call here would cost more than all the rest.
    return static_cast<T>(
        static_cast<std::int32_t>(clamped * kMax + 0.5F));  // NOLINT(bugprone-incorrect-roundings)
  }
}

/// A sample to 0…1; float as it is.
template <class T>
[[nodiscard]] inline float unit_from_sample(T sample) {
  if constexpr (std::is_same_v<T, float>) {
    return sample;
  } else {
    return static_cast<float>(sample) / static_cast<float>(std::numeric_limits<T>::max());
  }
}

}  // namespace seamwright
