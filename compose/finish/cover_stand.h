#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// What hides the stand, as a person wishes it.
struct CoverWish {
  double cover_deg = 0;         ///< the floor within this angle of straight down is filled; 0: not
  std::filesystem::path plate;  ///< a square picture whose circle is laid over the stand; or none
  double plate_deg = 0;         ///< angle from straight down to the plate's rim

  [[nodiscard]] bool any() const { return cover_deg != 0 || !plate.empty(); }
  [[nodiscard]] std::optional<Error> validate() const;
  bool operator==(const CoverWish&) const = default;
};

/// Fills, then lays the plate, in place. What a person should look at is added to `findings`.
[[nodiscard]] Result<void> cover_stand(const CoverWish& wish, Image& panorama,
                                       std::vector<std::string>& findings);

}  // namespace seamwright
