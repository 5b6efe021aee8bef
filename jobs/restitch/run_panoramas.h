#pragma once

// What `restitch` made of the shots of a run.

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/restitch/restitch.h"

namespace seamwright {

struct RunPanorama {
  std::string name;  ///< of its files
  std::string shot;  ///< as it is listed
  std::filesystem::path file;
  double middle_deg = 0;         ///< as it was wished: where its middle looks from ahead of lens 0
  std::optional<Error> failure;  ///< why there is none; then only `name` is set
};

/// One a shot of the run. A shot that cannot be begun, or is not stitched yet, says so.
[[nodiscard]] std::vector<RunPanorama> run_panoramas(RestitchOrder order);

}  // namespace seamwright
