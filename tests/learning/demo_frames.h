#pragma once

// Rendered shots for tests of learning: the truth goes into memory and is deleted from the disk
// before anything is solved.

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "apps/demo/demo.h"
#include "jobs/learning/learn.h"

namespace seamwright::test {

struct DemoTruth {
  Rig body;
  /// The body with the mount of lens 1 as it was on average over the shots: flex is drawn shot by
  /// shot, and frames can tell no more than its mean.
  Rig mean_mount;
  std::map<std::string, Vec3> position_m;  ///< in the world
  std::map<std::string, Quat> world_from_rig;
};

/// Renders the shots that `options` name, without panoramas, hands out the truth and leaves only
/// the frames. Fails the test when that goes wrong.
[[nodiscard]] DemoTruth render_and_forget(const std::filesystem::path& dir, DemoOptions options);

/// A shot as its two files in `frames`.
[[nodiscard]] LearnShot shot_of(const std::filesystem::path& frames, const std::string& name);

/// The names of a room's shots.
[[nodiscard]] std::vector<std::string> shots_of_room(const std::string& room);

}  // namespace seamwright::test
