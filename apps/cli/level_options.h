#pragma once

#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "base/result.h"
#include "compose/finish/levelling.h"

namespace seamwright {

/// Whose pixels the points of --vertical are.
enum class PointsOf {
  frames,    ///< "LENS:U,V LENS:U,V"
  panorama,  ///< "U,V U,V"
};

/// How the command line says which way a panorama is turned.
struct LevelOptions {
  bool level = false;
  bool no_level = false;  ///< of shots only
  std::vector<std::string> verticals;
  double middle_deg = 0;
  std::optional<double> compass_deg;

  void add_to(CLI::App& command, PointsOf points);
  /// Refuses two levels at once, and edges that are no two points.
  [[nodiscard]] Result<LevelWish> wish(PointsOf points) const;
  /// An error about an edge of the wish, in the words of the command line.
  [[nodiscard]] Error in_words(Error error) const;
};

void tell_level(const Console& console, const Levelled& levelled);
[[nodiscard]] nlohmann::json level_json(const LevelWish& wish, const Levelled& levelled);

}  // namespace seamwright
