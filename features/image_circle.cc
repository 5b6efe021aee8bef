#include "features/image_circle.h"

#include <algorithm>
#include <cassert>
#include <optional>
#include <string>
#include <utility>

#include "features/rim_profile.h"
#include "features/rim_search.h"

namespace seamwright {

namespace {

constexpr int kRimTurns = 4;  // each suits its window better to the softness of the rim

tl::unexpected<Error> none_found(std::string what) {
  return fail({.kind = ErrorKind::numeric,
               .where = {},
               .field = "image circle",
               .what = std::move(what),
               .remedy = "give a circular fisheye frame, or the circle by hand"});
}

}  // namespace

Result<ImageCircle> find_image_circle(const Image& image, const ImageCircleOptions& options) {
  assert(options.rays >= 90 && options.rays <= 7200);
  if (image.empty() || std::min(image.width(), image.height()) < 64) {
    return none_found("the picture is smaller than 64 px");
  }
  const rim::GreyPicture picture = rim::grey_picture_of(image);
  const auto surround = rim::surround_of(picture, image.type());
  if (!surround) return none_found("no light, or no corner darker than the picture");

  std::optional<rim::Circle> circle;
  Vec2 from(picture.width() / 2, picture.height() / 2);
  for (int turn = 0; turn < 2; ++turn) {
    const auto rays = rim::all_rises(picture, *surround, from, options.rays);
    circle = rim::consensus_circle(rays, picture, options);
    if (!circle) return none_found("no dark surround around a bright disc");
    if (!picture.contains(circle->centre, 8 * picture.step_px)) break;
    from = circle->centre;
  }
  const rim::Outside outside = rim::outside_of(picture, *surround, *circle);
  if (outside.corners < options.least_corners || outside.light > options.most_light_outside) {
    return none_found("the picture is bright outside of any circle");
  }

  rim::CircleFit fit{.circle = *circle};
  double window_px = std::max(2.0, 2 * picture.step_px);
  for (int turn = 0; turn < kRimTurns; ++turn) {
    const rim::RimPoints points =
        rim::rim_points(picture, *surround, fit.circle, options.rays, window_px);
    const auto refined =
        rim::fit_circle(points.px, fit.circle, rim::tolerance_of(fit.circle, picture) / 2);
    if (!refined) return none_found("too little of the rim is lit");
    fit = *refined;
    window_px = std::clamp(2 * points.softness_px, 2.0, std::max(2.0, 0.01 * fit.circle.radius));
  }
  const double coverage = static_cast<double>(fit.used) / options.rays;
  if (coverage < options.least_coverage || !rim::plausible(fit.circle, picture, options)) {
    return none_found("too little of the rim is lit");
  }
  return ImageCircle{fit.circle.centre, fit.circle.radius, fit.residual_px, coverage};
}

}  // namespace seamwright
