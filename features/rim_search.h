#pragma once

// Coarse search for the rim of a bright disc: rises from dark to bright along rays, and the circle
// that they agree with.

#include <optional>
#include <vector>

#include "features/circle_fit.h"
#include "features/grey_picture.h"
#include "features/image_circle.h"

namespace seamwright::rim {

/// Where a ray's brightness rises steeply, and to what above the surround.
struct Rise {
  Vec2 px = Vec2::Zero();
  double light = 0;
};

/// Those of one ray, outermost first.
using Rises = std::vector<Rise>;

/// Along `rays` rays from a point in the frame.
[[nodiscard]] std::vector<Rises> all_rises(const GreyPicture& picture, const Surround& surround,
                                           const Vec2& from, int rays);

/// How near a rise must be to lie on a circle, px.
[[nodiscard]] double tolerance_of(const Circle& circle, const GreyPicture& picture);

/// Size and place within the options.
[[nodiscard]] bool plausible(const Circle& circle, const GreyPicture& picture,
                             const ImageCircleOptions& options);

/// The circle that agrees best with the rises, by random sampling with a fixed seed.
[[nodiscard]] std::optional<Circle> consensus_circle(const std::vector<Rises>& rays,
                                                     const GreyPicture& picture,
                                                     const ImageCircleOptions& options);

/// What lies outside of a circle.
struct Outside {
  double light = 0;  ///< share of it that is bright
  int corners = 0;   ///< corners of the frame in it
};
[[nodiscard]] Outside outside_of(const GreyPicture& picture, const Surround& surround,
                                 const Circle& circle);

}  // namespace seamwright::rim
