#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <string>

#include "base/result.h"
#include "jobs/archive/journal_lines.h"

namespace seamwright {

/// Nanoseconds since 1970.
using ClockFn = std::function<std::int64_t()>;

enum class Reading {
  remembered,  ///< of a file whose stamp is as it was: what it held then
  anew,        ///< read, unless this run has read it already
};

/// What a file holds.
struct Content {
  std::string sha256;
  /// What is worth a line in the journal.
  std::optional<HashLine> learned = {};
  /// It was read, and holds something else than it did although its stamp is the same: the disk
  /// lost it, or something wrote beneath the file system. What it held stays remembered unless
  /// `remember` is told what was learned.
  bool decayed = false;
};

/// Contents of files by their stamps, remembered over runs. A file whose times are not clearly
/// older than the moment it was read is not remembered, so that a quick edit or a clock that jumps
/// cannot pass off old content as new. May be asked from several threads.
class Hashes {
 public:
  /// `clock` empty: the system's.
  explicit Hashes(ClockFn clock) : clock_(std::move(clock)) {}

  /// From a journal.
  void remember(const HashLine& line);

  [[nodiscard]] Result<Content> of(const std::filesystem::path& file, Reading reading);

 private:
  struct Known {
    Stamp stamp;
    std::string sha256;
    bool read_now = false;  ///< in this run
  };

  [[nodiscard]] std::int64_t now_ns() const;
  [[nodiscard]] std::optional<Known> known(const std::string& name) const;

  ClockFn clock_;
  mutable std::mutex mutex_;
  std::map<std::string, Known> known_;
};

}  // namespace seamwright
