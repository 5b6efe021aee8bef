#pragma once

// Kernels compiled by Highway, run with one instruction set after the other.

#include <cstdint>

#include <hwy/targets.h>

namespace seamwright::test {

/// While it lives, kernels use the best of the given instruction sets.
class OnlyTargets {
 public:
  explicit OnlyTargets(std::int64_t targets) { choose(targets); }
  ~OnlyTargets() { choose(0); }
  OnlyTargets(const OnlyTargets&) = delete;
  OnlyTargets& operator=(const OnlyTargets&) = delete;

 private:
  static void choose(std::int64_t targets) {
    hwy::SetSupportedTargetsForTest(static_cast<decltype(hwy::SupportedTargets())>(targets));
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
  }
};

/// Calls `check` with every instruction set that this machine has, plain C++ last. Returns how many
/// these were.
template <class Check>
int with_every_target(const Check& check) {
  int targets = 0;
  for (const std::int64_t target : {HWY_AVX3, HWY_AVX2, HWY_SSE4, HWY_SSSE3, HWY_SCALAR}) {
    if (target != HWY_SCALAR && (hwy::SupportedTargets() & target) == 0) continue;
    const OnlyTargets only(target);
    check();
    ++targets;
  }
  return targets;
}

}  // namespace seamwright::test
