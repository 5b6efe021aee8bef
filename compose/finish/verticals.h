#pragma once

// Which way is down, from the upright edges of a building.
//
// A straight edge and the lens span a plane; an upright edge's plane holds the vertical, whatever
// its distance. So the planes' unit normals n of all upright edges are perpendicular to the
// vertical v, and v is the vanishing point of the upright edges on the sphere (Barnard 1983,
// Artificial Intelligence 21:435–462). Edges of other directions are in the majority in most rooms:
// the vertical is the direction, within some degrees of the body's own, through which the most
// edges pass (RANSAC over pairs, Fischler & Bolles 1981), then a robust least squares over those.
//
// Whether that many edges may pass through one direction by chance is asked before the answer is
// believed: the expected number of such coincidences must be far below one (a contrario
// detection, Desolneux, Moisan, Morel 2000, IJCV 40:7–23). A meadow has no vertical, and says so.

#include <optional>
#include <span>
#include <vector>

#include "base/result.h"
#include "projection/plumb_line.h"
#include "projection/rig.h"
#include "projection/upright_edge.h"

namespace seamwright {

/// The plane through the viewpoint that holds a straight edge.
struct EdgePlane {
  Vec3 normal = Vec3::UnitX();  ///< unit, either sign
  /// Covariance of the normal, rad²; flat along the normal itself.
  Mat3 covariance = Mat3::Zero();
  double length_rad = 0;  ///< how much of the edge was seen
};

/// Planes of measured edges, in the rig's axes. Edges whose points span no arc are left out,
/// and an edge that was seen twice counts once.
[[nodiscard]] std::vector<EdgePlane> edge_planes(const Rig& rig, std::span<const PlumbLine> lines);

/// The plane through two directions; fails when they leave it open (projection/upright_edge.h).
[[nodiscard]] Result<EdgePlane> edge_through(const Vec3& a, const Vec3& b);

struct VerticalOptions {
  /// The body stood upright within this, 1…45 degrees. A wider cone takes a sloping roof for a
  /// wall.
  double largest_tilt_deg = 20;
  /// Beside what its own points leave open, an upright edge may lean by this: doors and shelves are
  /// not built better. 0.02…2 degrees.
  double edge_lean_deg = 0.15;
  int least_edges = 4;             ///< 2 or more
  double largest_sigma_deg = 0.1;  ///< a less certain vertical is refused
  double chance = 1e-2;            ///< expected number of equal coincidences that is still believed

  [[nodiscard]] std::optional<Error> validate() const;
};

struct Vertical {
  Vec3 down = Vec3::UnitY();  ///< unit, in the rig's axes
  int edges = 0;              ///< that pass through it
  int edges_seen = 0;         ///< of any direction
  double sigma_deg = 0;       ///< of the tilt about its less certain axis; 0 for given edges
  double rms_lean_deg = 0;    ///< of the edges against it
  double chance = 0;          ///< expected number of coincidences as good as this one

  [[nodiscard]] double tilt_deg() const { return deg_from_rad(angle_between(down, Vec3::UnitY())); }
};

/// Fails (numeric) when there are too few upright edges, when they might be chance, and when they
/// all lie in nearly one plane, which leaves a tilt open. Same edges, same answer.
[[nodiscard]] Result<Vertical> find_vertical(std::span<const EdgePlane> edges,
                                             const VerticalOptions& options = {});

/// From edges that a person says are upright. One edge sets the tilt towards its side only; the
/// other tilt stays as it is. Fails on none, and when the edges put the vertical more than
/// 45 degrees off.
[[nodiscard]] Result<Vertical> vertical_from_given(std::span<const EdgePlane> edges);

/// From the edges that a shot file holds, in the same way: one edge tells nothing of a lean in its
/// own plane, so the smallest turn that sets it upright is taken for the whole of it; two or more,
/// least squares of their lean, long edges counting more. The error's field is "verticals".
[[nodiscard]] Result<Vertical> vertical_from_marked(std::span<const UprightEdge> edges);

}  // namespace seamwright
