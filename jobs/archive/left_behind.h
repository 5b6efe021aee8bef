#pragma once

#include <filesystem>
#include <set>
#include <string>
#include <vector>

#include "jobs/archive/journal_lines.h"

namespace seamwright {

/// Which files of a run's folder earlier runs wrote that are no output of any item now, such as
/// those of an item that was renamed. Files are named as the journal does, relative to the folder.
class LeftBehind {
 public:
  /// What a journal says was written.
  void written(const DoneLine& line) { add(line, written_); }
  /// What an item has now, or may still have.
  void keep(const DoneLine& line) { add(line, current_); }
  void keep(const std::string& file) { current_.insert(file); }

  /// Those that are there, by name.
  [[nodiscard]] std::vector<std::filesystem::path> files(const std::filesystem::path& folder) const;

 private:
  static void add(const DoneLine& line, std::set<std::string>& files) {
    for (const OutputLine& output : line.outputs) files.insert(output.file);
  }

  std::set<std::string> written_;
  std::set<std::string> current_;
};

}  // namespace seamwright
