#pragma once

#include <functional>
#include <string>
#include <string_view>

#include "base/result.h"

namespace seamwright {

/// What long work reports; called on the caller's thread only.
struct Progress {
  std::string_view stage;  ///< present participle, e.g. "matching"
  double fraction = 0;     ///< 0…1 within the stage
};

/// Returns true to go on, false to stop; a stopped call fails with ErrorKind::cancelled.
/// An empty function means "nobody listens".
using ProgressFn = std::function<bool(const Progress&)>;

/// True when work should go on.
[[nodiscard]] inline bool tell(const ProgressFn& progress, std::string_view stage,
                               double fraction) {
  return !progress || progress({stage, fraction});
}

/// How work that was told to stop fails; `what` as a participle, e.g. "rendering".
[[nodiscard]] inline Error stopped_while(std::string_view what) {
  return {.kind = ErrorKind::cancelled,
          .where = {},
          .field = {},
          .what = "stopped while " + std::string(what),
          .remedy = {}};
}

}  // namespace seamwright
