#include "apps/cli/cover_options.h"

#include <fmt/format.h>

#include "apps/cli/file_options.h"
#include "compose/finish/cover.h"
#include "imaging/read_image.h"

namespace seamwright {

void CoverOptions::add_to(CLI::App& command) {
  command.add_option("--cover-deg", cover_deg,
                     "Fill the floor within this angle of straight down from what is around it");
  command.add_option("--plate", plate, "Lay this square picture's circle over the stand")
      ->type_name(value_kind::kFile);
  command.add_option("--plate-deg", plate_deg, "Angle from straight down to the plate's rim");
}

std::optional<Error> CoverOptions::validate() const {
  if (!plate.empty() && !(plate_deg > 0)) {
    return Error{.where = {},
                 .field = "--plate-deg",
                 .what = "the plate's radius is missing",
                 .remedy = "give the angle from straight down to its rim, e.g. --plate-deg 20"};
  }
  if (plate.empty() && plate_deg != 0) {
    return Error{.where = {},
                 .field = "--plate",
                 .what = "is missing",
                 .remedy = "name the picture to lay over the stand"};
  }
  return std::nullopt;
}

Result<void> cover_stand(const CoverOptions& options, Image& panorama,
                         std::vector<std::string>& findings) {
  if (options.cover_deg != 0) {
    if (auto done = cover_by_filling(panorama, options.cover_deg); !done) return done;
  }
  if (options.plate.empty()) return {};
  const auto plate = read_image(options.plate);
  if (!plate) return tl::unexpected(plate.error());
  auto laid = cover_by_plate(panorama, *plate, options.plate_deg);
  if (!laid) {
    laid.error().where = options.plate;
    return tl::unexpected(laid.error());
  }
  if (laid->too_coarse) {
    findings.push_back(
        fmt::format("{}: {} px are fewer than the panorama shows; {} would be as fine",
                    options.plate, plate->width(), laid->wanted_px));
  }
  return {};
}

}  // namespace seamwright
