#pragma once

#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// How the command line says what hides the stand.
struct CoverOptions {
  double cover_deg = 0;
  std::string plate;
  double plate_deg = 0;

  void add_to(CLI::App& command);
  [[nodiscard]] bool any() const { return cover_deg != 0 || !plate.empty(); }
  [[nodiscard]] std::optional<Error> validate() const;
};

/// Fills, then lays the plate, in place. What a person should look at is added to `findings`.
[[nodiscard]] Result<void> cover_stand(const CoverOptions& options, Image& panorama,
                                       std::vector<std::string>& findings);

}  // namespace seamwright
