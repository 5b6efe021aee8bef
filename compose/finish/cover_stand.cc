#include "compose/finish/cover_stand.h"

#include <fmt/format.h>

#include "compose/finish/cover.h"
#include "imaging/read_image.h"

namespace seamwright {

std::optional<Error> CoverWish::validate() const {
  if (!plate.empty() && !(plate_deg > 0)) {
    return Error{.where = {},
                 .field = "plate_deg",
                 .what = "the plate's radius is missing",
                 .remedy = "give the angle from straight down to its rim, for example 20"};
  }
  if (plate.empty() && plate_deg != 0) {
    return Error{.where = {},
                 .field = "plate",
                 .what = "is missing",
                 .remedy = "name the picture to lay over the stand"};
  }
  return std::nullopt;
}

Result<void> cover_stand(const CoverWish& wish, Image& panorama,
                         std::vector<std::string>& findings) {
  if (wish.cover_deg != 0) {
    if (auto done = cover_by_filling(panorama, wish.cover_deg); !done) return done;
  }
  if (wish.plate.empty()) return {};
  const auto plate = read_image(wish.plate);
  if (!plate) return tl::unexpected(plate.error());
  auto laid = cover_by_plate(panorama, *plate, wish.plate_deg);
  if (!laid) {
    laid.error().where = wish.plate.string();
    return tl::unexpected(laid.error());
  }
  if (laid->too_coarse) {
    findings.push_back(
        fmt::format("{}: {} px are fewer than the panorama shows; {} would be as fine",
                    wish.plate.string(), plate->width(), laid->wanted_px));
  }
  return {};
}

}  // namespace seamwright
