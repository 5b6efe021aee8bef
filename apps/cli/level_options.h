#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "base/result.h"
#include "compose/finish/level.h"

namespace seamwright {

/// How the command line says which way a panorama is turned.
struct LevelOptions {
  bool level = false;
  bool no_level = false;               ///< whatever a shot file marks as upright; of shots only
  std::vector<std::string> verticals;  ///< "LENS:U,V LENS:U,V" or, of a panorama, "U,V U,V"
  double middle_deg = 0;
  std::optional<double> compass_deg;

  /// `of_panorama`: the edges' points are the panorama's own pixels.
  void add_to(CLI::App& command, bool of_panorama);
  [[nodiscard]] bool turns() const { return level || !verticals.empty() || middle_deg != 0; }
  /// Refuses what is no angle, and two levels at once.
  [[nodiscard]] std::optional<Error> validate() const;
};

/// Whose edges tell the vertical.
enum class LevelledBy {
  nothing,
  found,   ///< the program's own
  given,   ///< on the command line
  marked,  ///< in the shot file
};

/// A turn and what it was made from.
struct Levelled {
  Quat turned_from_source = Quat::Identity();
  std::optional<Vertical> vertical = {};
  LevelledBy by = LevelledBy::nothing;
};

/// From a shot's frames, `rig` as they were taken. Edges given on the command line come first, then
/// those that the shot file marks, whether or not a level is asked for; found ones last.
[[nodiscard]] Result<Levelled> level_shot(const LevelOptions& options, const Rig& rig,
                                          std::span<const Frame> frames,
                                          std::span<const UprightEdge> marked = {});
[[nodiscard]] Result<Levelled> level_panorama(const LevelOptions& options, const Image& panorama);

void tell_level(const Console& console, const Levelled& levelled);
[[nodiscard]] nlohmann::json level_json(const LevelOptions& options, const Levelled& levelled);

}  // namespace seamwright
