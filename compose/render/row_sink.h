#pragma once

#include <cstddef>
#include <span>

#include "base/result.h"

namespace seamwright {

/// Takes a picture's rows, top to bottom, one call after the other but on a thread of the
/// renderer's choice.
class RowSink {
 public:
  RowSink() = default;
  RowSink(const RowSink&) = delete;
  RowSink& operator=(const RowSink&) = delete;
  virtual ~RowSink() = default;

  /// One or more whole rows, laid out as in Image, starting where the last call ended.
  [[nodiscard]] virtual Result<void> write_rows(int first_row, std::span<const std::byte> rows) = 0;
};

}  // namespace seamwright
