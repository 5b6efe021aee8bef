#pragma once

// Which way a finished picture is turned, as a person wishes it: upright, and about the vertical.

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "compose/finish/level.h"

namespace seamwright {

/// A point of one frame of a shot, upright and unmirrored; of a panorama `lens` is 0.
struct PicturePoint {
  int lens = 0;
  Vec2 px = Vec2::Zero();

  bool operator==(const PicturePoint&) const = default;
};

/// An edge that is upright, by two of its points.
struct PictureEdge {
  std::array<PicturePoint, 2> ends{};

  bool operator==(const PictureEdge&) const = default;
};

/// What sets a picture upright where no edges are given.
enum class Upright : std::uint8_t {
  as_marked,  ///< the edges that the shot file marks; without any it stays as the body stood
  find,       ///< those, or else the upright edges that are found in the picture
  leave,      ///< nothing: it stays as the body stood
};

struct LevelWish {
  Upright upright = Upright::as_marked;
  std::vector<PictureEdge> edges;     ///< upright, a person says so; they come first
  double middle_deg = 0;              ///< this longitude becomes the middle; -360…360
  std::optional<double> compass_deg;  ///< bearing of the finished middle, 0 north; -360…360

  /// Whether the picture may be turned whatever a shot file marks.
  [[nodiscard]] bool turns() const {
    return upright == Upright::find || !edges.empty() || middle_deg != 0;
  }
  [[nodiscard]] std::optional<Error> validate() const;
  bool operator==(const LevelWish&) const = default;
};

/// Whose edges told the vertical.
enum class LevelledBy : std::uint8_t {
  nothing,
  found,   ///< the program's own
  given,   ///< with the wish
  marked,  ///< in the shot file
};
[[nodiscard]] std::string_view name_of(LevelledBy by);

/// A turn and what it was made from.
struct Levelled {
  Quat turned_from_source = Quat::Identity();
  std::optional<Vertical> vertical = {};
  LevelledBy by = LevelledBy::nothing;
};

/// From a shot's frames and its rig at their size. Errors of the wish's edges have the field
/// "edges[i]", those of `marked` "verticals".
[[nodiscard]] Result<Levelled> level_shot(const LevelWish& wish, const Rig& rig,
                                          std::span<const Frame> frames,
                                          std::span<const UprightEdge> marked = {});
[[nodiscard]] Result<Levelled> level_panorama(const LevelWish& wish, const Image& panorama);

}  // namespace seamwright
