#pragma once

// What a long run has done, so that the next one goes on from there: an append-only file, one entry
// a line, each with a checksum of its own and flushed to the disk before the run goes on.
//
//   <first 16 hex digits of the SHA-256 of the rest of the line> <a JSON object>
//
// A kill can tear the last line only; it is cut off when the journal is opened. A line damaged
// elsewhere is left out and counted. The file and its folder are never taken through a symbolic
// link (base/own_file.h).

#include <filesystem>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "base/append_file.h"
#include "base/result.h"

namespace seamwright {

/// What a journal holds.
struct JournalContents {
  std::vector<nlohmann::json> entries;
  int damaged_lines = 0;
};

/// Open for this process alone: a second one is refused for as long as this one lives.
class Journal {
 public:
  /// Makes the file and its folder where they are missing.
  [[nodiscard]] static Result<Journal> open(const std::filesystem::path& path);
  /// Of a journal that may be in use by another process; nothing where there is no file.
  [[nodiscard]] static Result<JournalContents> read(const std::filesystem::path& path);

  [[nodiscard]] const std::vector<nlohmann::json>& entries() const { return entries_; }
  [[nodiscard]] int damaged_lines() const { return damaged_lines_; }

  /// On the disk when this returns; fails when it cannot be.
  [[nodiscard]] Result<void> append(const nlohmann::json& entry);

 private:
  explicit Journal(AppendFile file) : file_(std::move(file)) {}

  AppendFile file_;
  std::vector<nlohmann::json> entries_;
  int damaged_lines_ = 0;
};

}  // namespace seamwright
