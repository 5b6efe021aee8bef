#pragma once

// What a command's options are to a person's files. Each option whose value is text says its kind;
// --help shows it, and the program knows from it, before a command begins, what is read and what is
// to be written.

#include <CLI/CLI.hpp>

#include "base/file_guard.h"
#include "base/result.h"

namespace seamwright {

namespace value_kind {
inline constexpr const char* kFile = "FILE";             ///< a file that is read
inline constexpr const char* kPath = "PATH";             ///< files or folders that are read
inline constexpr const char* kNewFile = "NEW-FILE";      ///< a file to write
inline constexpr const char* kNewFolder = "NEW-FOLDER";  ///< a folder to write into
inline constexpr const char* kShotFile = "SHOT-FILE";    ///< written, or updated where it is there
}  // namespace value_kind

/// Whether a command has options that name something to write.
[[nodiscard]] bool writes_files(const CLI::App& command);

/// Tells the guard all that the command's options name to read, then fails where one of its outputs
/// may not be written or two of them are the same.
[[nodiscard]] Result<void> guard_files(const CLI::App& command, FileGuard& guard);

}  // namespace seamwright
