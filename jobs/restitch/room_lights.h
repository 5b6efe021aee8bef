#pragma once

// What shots told of their light, remembered over runs, so that a run with nothing to do reads no
// pictures. A file of lines with checksums (jobs/archive/journal.h) in the run's folder
// `.restitch`. Nothing is lost with it: what is not there is told anew, the same.

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "jobs/archive/journal.h"
#include "jobs/look/look.h"

namespace seamwright {

class RoomLights {
 public:
  enum class Keep { yes, no };

  /// `folder`: the run's. Where the file cannot be kept, because another part of the run has it or
  /// the folder cannot be written, what it holds is used and nothing is added. With Keep::no
  /// nothing is written at all.
  RoomLights(const std::filesystem::path& folder, Keep keep);

  /// What was told under a key; nothing where that is not known.
  [[nodiscard]] std::optional<RoomLight> of(const std::string& key) const;
  void put(const std::string& key, const RoomLight& light);

 private:
  void take(const std::vector<nlohmann::json>& lines);

  std::optional<Journal> file_;
  std::map<std::string, RoomLight> known_;
};

/// A key for files as they lie on the disk now, by their stamps (jobs/archive/stamp.h), and for
/// whatever else decides what they tell. Nothing where a file is missing or was changed within the
/// last two seconds: it may change again under the same times.
[[nodiscard]] std::optional<std::string> stamp_key(const std::vector<std::filesystem::path>& files,
                                                   const std::string& settings);

}  // namespace seamwright
