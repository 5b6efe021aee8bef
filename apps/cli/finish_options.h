#pragma once

#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "apps/cli/level_options.h"
#include "base/result.h"
#include "jobs/finishing/finish_panorama.h"

namespace seamwright {

/// The words of the command line for finishing.
struct FinishOptions {
  std::vector<std::string> inputs;  ///< one panorama; or panoramas, folders and run files
  LevelOptions level;
  bool mirrored = false;
  std::string floor_in;
  std::string floor_out;
  double floor_field_deg = kFloorField_deg;
  double glow_removal = 0;
  CoverWish cover;
  std::string out;
  std::string jpeg;
  std::string exr;
  std::string faces;
  std::string tiles;
  std::string into;                ///< folder: many are finished alike
  std::vector<std::string> kinds;  ///< what is written of each of many
  std::string floors;              ///< folder of their edited floors
  std::string compression = "none";
  int jpeg_quality = 92;
  int jpeg_width = 0;
  int face_px = 0;
  int tile_px = CubeOptions{}.tile_px;
  std::vector<double> latitudes;
  bool strip_location = false;
  const CLI::App* command = nullptr;  ///< that was given all this

  void add_to(CLI::App& command);
  /// Whether several panoramas are meant, by what is given.
  [[nodiscard]] bool is_many() const;
  /// Refuses what belongs to one panorama where many are meant, and the other way round.
  [[nodiscard]] std::optional<Error> check_many() const;
  [[nodiscard]] Result<FinishWish> wish() const;
  /// Sizes, qualities, compression, latitudes: all of Deliverables but its names.
  [[nodiscard]] Deliverables numbers() const;
};

}  // namespace seamwright
