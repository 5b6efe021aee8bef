#include "projection/upright_edge.h"

#include <cmath>

namespace seamwright {

bool leave_plane_open(const Vec3& a, const Vec3& b) {
  return !(a.cross(b).norm() >= std::sin(rad_from_deg(UprightEdge::kLeast_deg)));
}

std::optional<Error> UprightEdge::validate() const {
  if (!ends[0].valid() || !ends[1].valid()) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "ends",
                 .what = "are no two places of the panorama",
                 .remedy = "give longitude within half a turn and latitude within a quarter turn"};
  }
  if (leave_plane_open(ends[0].direction(), ends[1].direction())) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "ends",
                 .what = "are too close together, or opposite",
                 .remedy = "pick two places far apart on one upright edge"};
  }
  return std::nullopt;
}

}  // namespace seamwright
