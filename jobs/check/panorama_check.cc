#include "jobs/check/panorama_check.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "base/median.h"
#include "compose/finish/level.h"
#include "features/light_planes.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"

namespace seamwright {

namespace {

constexpr double kMostTilt_deg = 0.5;
constexpr double kMostClipped = 0.08;
constexpr double kMostBorderStep = 3;  // times the usual step between neighbouring columns

/// Mean absolute difference of two columns.
double column_step(const Image& plane, int left, int right) {
  double sum = 0;
  for (int y = 0; y < plane.height(); ++y) {
    const auto row = plane.row<float>(y);
    sum += static_cast<double>(
        std::abs(row[static_cast<std::size_t>(left)] - row[static_cast<std::size_t>(right)]));
  }
  return sum / plane.height();
}

/// The step over the wrap against the median step of columns elsewhere.
double border_step(const Image& plane) {
  std::vector<double> steps;
  for (int x = 0; x + 1 < plane.width(); x += 7) steps.push_back(column_step(plane, x, x + 1));
  const double usual = median(std::move(steps));
  return usual > 0 ? column_step(plane, plane.width() - 1, 0) / usual : 0;
}

Finding shape_finding(std::string words, std::string remedy, double bother_px) {
  return {.kind = FindingKind::wrong_shape,
          .size = 1,
          .bother_px = bother_px,
          .words = std::move(words),
          .remedy = std::move(remedy)};
}

void look_at_pixels(const Image& image, const BotherRates& rates, ShotFindings& found) {
  const auto planes = light_planes_of(image);
  if (!planes) return;
  const auto lost = std::count(planes->lost.begin(), planes->lost.end(), 1);
  const double share = static_cast<double>(lost) / static_cast<double>(planes->lost.size());
  if (share > kMostClipped) {
    found.findings.push_back({.kind = FindingKind::clipped,
                              .size = share,
                              .bother_px = rates.per_clipped_share * (share - kMostClipped),
                              .words = fmt::format("{:.0f} % is clipped white", 100 * share),
                              .remedy = "stitch it again with a shorter exposure merged in"});
  }
  const double step = border_step(planes->colours[planes->colours.size() > 1 ? 1 : 0]);
  if (step > kMostBorderStep) {
    found.findings.push_back(
        {.kind = FindingKind::open_border,
         .size = step,
         .bother_px = step,
         .place = PanoramaPlace{.longitude_rad = kPi, .latitude_rad = 0},
         .words = fmt::format("left and right border do not meet: their step is {:.1f} times that "
                              "of other columns",
                              step),
         .remedy = "was it cropped or edited at its border? Stitch it again, or mend it there"});
  }
}

}  // namespace

Result<ShotFindings> check_panorama(const std::filesystem::path& file, const BotherRates& rates) {
  auto image = read_image(file);
  if (!image) return tl::unexpected(image.error());
  const auto info = read_panorama_info(file);
  if (!info) return tl::unexpected(info.error());
  ShotFindings found{.name = file.filename().string(), .findings = {}};
  const bool whole = image->width() == 2 * image->height();
  if (!whole && !*info) {
    found.findings.push_back(shape_finding(
        fmt::format("{} x {} px is not two to one, and it does not say what part of the sphere it "
                    "shows",
                    image->width(), image->height()),
        "deliver it again with 'finish'", rates.useless));
    return found;
  }
  if (!*info) {
    found.findings.push_back(
        shape_finding("it does not say that it is a panorama: viewers will show it flat",
                      "deliver it again with 'finish', which writes that", 1));
  }
  look_at_pixels(*image, rates, found);
  if (whole) {
    const auto vertical = find_vertical(*image);
    if (vertical && vertical->tilt_deg() > kMostTilt_deg) {
      found.findings.push_back(
          {.kind = FindingKind::tilted,
           .size = vertical->tilt_deg(),
           .bother_px = rates.per_degree_of_tilt * vertical->tilt_deg(),
           .words = fmt::format("upright edges lean by {:.2f} degrees", vertical->tilt_deg()),
           .remedy = "'finish' it with 'level'"});
    }
  }
  rank(found.findings);
  return found;
}

}  // namespace seamwright
