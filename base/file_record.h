#pragma once

// A note that this program wrote a file, and the SHA-256 of the bytes that it wrote. It lies with
// the file as the extended attribute `user.seamwright.sha256`. Where the file system keeps none
// (FAT, some network shares), it is a line in the hidden file `.seamwright-written` of the folder.
//
// A file that was edited holds other bytes than its note says. A copy without its attributes has no
// note: it is taken for somebody else's, which is the safe side.

#include <filesystem>
#include <string>

namespace seamwright {

/// Notes that the bytes with this hash are about to appear as `destination`; `temporary` holds
/// them and is renamed afterwards. If the note cannot be kept this does not fail: the file then
/// counts as somebody else's.
void record_written(const std::filesystem::path& temporary,
                    const std::filesystem::path& destination, const std::string& sha256_hex);

/// Whether the file holds the bytes that this program wrote there. Reads all of it when a note
/// says so.
[[nodiscard]] bool holds_what_was_written(const std::filesystem::path& file);

}  // namespace seamwright
