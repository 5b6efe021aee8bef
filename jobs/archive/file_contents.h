#pragma once

// What the files of a run hold, by hash, with a line in the journal for what was learned of it.
// May be asked from several threads.

#include <filesystem>
#include <functional>
#include <map>
#include <mutex>
#include <string>
#include <utility>

#include "base/result.h"
#include "jobs/archive/hashes.h"

namespace seamwright {

class FileContents {
 public:
  /// Puts a line into the journal.
  using Keep = std::function<Result<void>(const HashLine& learned)>;

  /// `read_all`: inputs are read, whatever is remembered of them.
  FileContents(Hashes& hashes, bool read_all, Keep keep)
      : hashes_(hashes), read_all_(read_all), keep_(std::move(keep)) {}

  /// Fails on a frame that decayed: what was made of it while it was whole is better than what
  /// would be made of it now.
  [[nodiscard]] Result<std::string> of_input(const std::filesystem::path& file);
  [[nodiscard]] Result<std::string> of_output(const std::filesystem::path& file, Reading reading);
  /// Of what was just written: known where this process wrote it.
  [[nodiscard]] Result<std::string> of_fresh(const std::filesystem::path& file);

  /// Outputs that no longer hold what was written though their stamps are the same, and what they
  /// hold now.
  [[nodiscard]] std::map<std::filesystem::path, std::string> decayed() const;

 private:
  Hashes& hashes_;
  bool read_all_;
  Keep keep_;
  mutable std::mutex mutex_;
  std::map<std::filesystem::path, std::string> decayed_;
};

}  // namespace seamwright
