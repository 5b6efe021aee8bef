#pragma once

// What may be written where.
//
// Three rules hold for every file that this program writes, because the one writer (PendingFile,
// base/file.h) asks here before it begins and once more before it renames:
//
//   1. Nothing lands on a file that the running command reads, whatever name or link leads to it.
//   2. A file that is there already is replaced only if it holds the very bytes that this program
//      wrote (base/file_record.h), or if the person allowed it. A panorama that was retouched since
//      is therefore kept.
//   3. Only a regular file is ever replaced: no folder, device or pipe.
//
// A document of the program's own that a person works on (a shot file) is an exception to 1 and 2:
// `Replacing::previous_kept` updates it, and the version before stays beside it.

#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// How an existing file is treated.
enum class Replacing {
  recorded,       ///< replaced only if it holds what this program wrote there
  previous_kept,  ///< an own document, updated; the version before is kept as `NAME.previous`
};

/// Knows what the running command reads and what the person allowed, for as long as it lives. The
/// rules above hold for the whole process, as ThreadLimit does (base/parallel.h); guards nest, and
/// the innermost one counts. Without a guard no inputs are known, and only files that the program
/// wrote may be replaced. Its functions may be called from any thread.
class FileGuard {
 public:
  struct Options {
    bool overwrite = false;                    ///< rule 2 is waived, rules 1 and 3 never
    std::string remedy = "give another name";  ///< for rule 2, in the words of the caller
  };

  explicit FileGuard(Options options);
  ~FileGuard();
  FileGuard(const FileGuard&) = delete;
  FileGuard& operator=(const FileGuard&) = delete;

  /// Names a file that is read, or a folder whose files are read: in such a folder only files that
  /// the program wrote are replaced, whatever the person allowed. A missing path is ignored.
  void reads(const std::filesystem::path& path);

  struct State;

 private:
  std::unique_ptr<State> state_;
};

/// Tells the guard, where there is one, that a file is read. The readers of this program call it.
void note_read(const std::filesystem::path& file);

/// Tells the guard, where there is one, that a record kept elsewhere (a run's journal) says this
/// program wrote the file with this SHA-256. While the file holds those bytes it may be replaced.
void note_written(const std::filesystem::path& file, const std::string& sha256_hex);

/// The reason why `destination` may not be written now; empty if it may.
[[nodiscard]] std::optional<Error> refusal_to_write(const std::filesystem::path& destination,
                                                    Replacing replacing = Replacing::recorded);

/// Fails with the first of these files that may not be written. A job that writes several files
/// asks first, so that it is refused as a whole.
[[nodiscard]] Result<void> check_destinations(std::span<const std::filesystem::path> files);

/// Removes what dead processes left beside `destination` (base/file.h), once for each folder and
/// guard. Does nothing without a guard.
void sweep_leftovers_beside(const std::filesystem::path& destination);

}  // namespace seamwright
