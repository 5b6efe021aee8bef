#pragma once

#include <cstdio>
#include <cstdlib>
#include <utility>

#include "base/result.h"

namespace seamwright::test {

/// For programs that cannot go on without it: the value, or the error on stderr and exit 1.
template <class T>
[[nodiscard]] T value_of(Result<T> result) {
  if (result) return std::move(*result);
  std::fprintf(stderr, "%s\n", result.error().line().c_str());
  std::exit(1);
}

}  // namespace seamwright::test
