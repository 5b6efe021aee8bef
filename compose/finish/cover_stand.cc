#include "compose/finish/cover_stand.h"

#include <cmath>
#include <string>
#include <utility>

#include <fmt/format.h>

#include "compose/finish/cover.h"
#include "imaging/read_image.h"

namespace seamwright {

namespace {

// A filling that is not sure, in words.
std::optional<std::string> finding_of(const Filling& filling) {
  // Below it lines of the demo's floors broke, or could have (tests/finish/study_floor.cc).
  constexpr double kSure_db = 24;
  const auto expected = filling.expected_db();
  if (!expected || *expected >= kSure_db) return std::nullopt;
  return fmt::format(
      "the filled floor, straight down (latitude -90), is not sure: a hole of its size beside it, "
      "filled alike, differs from what is there by {:.0f} of 255; look at it, retouch the floor, "
      "cover less, or lay a plate",
      255 * std::pow(10, -*expected / 20));
}

}  // namespace

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
    const auto filling = cover_by_filling(panorama, wish.cover_deg);
    if (!filling) return tl::unexpected(filling.error());
    if (auto finding = finding_of(*filling)) findings.push_back(std::move(*finding));
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
