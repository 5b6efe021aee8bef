#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace seamwright {

/// Frames of one shot by lens, as their names tell it.
using NamedFrames = std::map<int, std::filesystem::path>;

/// Frames whose names alone say which shot and lens they are of, by FOLDER/NAME: NAME_front and
/// NAME_back, or NAME_0, NAME_1 …; with "-" as well. The first file of a lens counts. Frames that
/// lie in different folders are of different shots.
[[nodiscard]] std::map<std::filesystem::path, NamedFrames> frames_by_name(
    const std::vector<std::filesystem::path>& files);

/// Whether a name says its lens by a word: front or back. A number may be one of a series.
[[nodiscard]] bool names_lens_by_word(const std::filesystem::path& file);

/// Whether lenses 0 to `lens_count` − 1 are all there, and no others.
[[nodiscard]] bool is_whole(const NamedFrames& frames, int lens_count);

/// The name of the first frame that is missing.
[[nodiscard]] std::string missing_name(const NamedFrames& frames);

}  // namespace seamwright
