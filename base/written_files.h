#pragma once

// What this process has written, so that who needs the hash of a fresh output need not read it
// back.

#include <filesystem>
#include <optional>
#include <string>

namespace seamwright {

/// PendingFile tells of every file that it puts in place.
void note_committed(const std::filesystem::path& file, const std::string& sha256_hex);

/// The SHA-256 of what this process wrote there; nothing where it wrote nothing, or the file's
/// size, times or place on the disk have changed since. Thread-safe.
[[nodiscard]] std::optional<std::string> hash_of_committed(const std::filesystem::path& file);

}  // namespace seamwright
