#pragma once

// The lines of a run file that an import adds, and those that it finds there.

#include <filesystem>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "templates/run_file.h"

namespace seamwright {

/// Which files the lines of a run file name already. Paths are normal and relative to its folder.
class KnownShots {
 public:
  explicit KnownShots(const RunFile& run);

  /// The line that holds a file, by its place in RunFile::shots.
  [[nodiscard]] std::optional<std::size_t> holder_of(const std::filesystem::path& file) const;
  /// A name that no shot of the run has: the one that is wanted, or that with a number.
  [[nodiscard]] std::string take_name(const std::string& wanted);

 private:
  std::map<std::filesystem::path, std::size_t> files_;
  std::map<std::filesystem::path, std::size_t> folders_;
  std::set<std::string> names_;
};

/// "2024-05-14_091220" of a time; else what the files' names share; else "shot".
[[nodiscard]] std::string shot_name(const std::string& time, const std::string& by_files);

/// One line: the files of each lens, relative to their common folder. `files` as KnownShots has
/// them; a file for every exposure.
void set_files(RunShot& shot, const std::vector<std::vector<std::filesystem::path>>& files);

}  // namespace seamwright
