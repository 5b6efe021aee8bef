#pragma once

#include <array>
#include <cstddef>
#include <optional>

#include "base/result.h"
#include "projection/seam_stroke.h"

namespace seamwright {

/// An edge that a person marked as upright: two places on it, on the panorama before it is levelled
/// or turned. Its plane through the viewpoint holds the vertical (compose/finish/verticals.h).
struct UprightEdge {
  std::array<PanoramaPlace, 2> ends{};

  /// Ends closer to one another than this, or to being opposite, leave the plane open.
  static constexpr double kLeast_deg = 0.5;
  /// Of one shot; more is a fault of a program, not a person's work.
  static constexpr std::size_t kMostOfShot = 100;

  /// Refuses ends that are no places (longitude within ± pi, latitude within ± pi/2) or leave the
  /// plane open; the error's field is "ends".
  [[nodiscard]] std::optional<Error> validate() const;
  bool operator==(const UprightEdge&) const = default;
};

/// Whether two unit directions leave the plane through them open.
[[nodiscard]] bool leave_plane_open(const Vec3& a, const Vec3& b);

}  // namespace seamwright
