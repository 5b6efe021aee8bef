#pragma once

// Stands of one synthetic room: ring ties at each, and tracks between them.

#include <vector>

#include "solver/shot_state.h"
#include "tests/support/ties.h"

namespace seamwright::test {

struct RoomOptions {
  Vec3 half_size_m{2, 1.3, 2.5};
  int stands = 6;
  int ring_ties = 150;  ///< per stand
  int tracks = 800;
  int longest_track = 6;  ///< sights
  double noise_px = 0.15;
  double flex_rad = 0;  ///< σ per axis of the back lenses
};

struct RoomSurvey {
  std::vector<Tie> ties;
  std::vector<ShotState> truth;  ///< in the frame of the first stand, with flex
  std::vector<ShotState> start;  ///< rough places, no flex

  void append(const RoomSurvey& other, int network) {
    const auto offset = static_cast<int>(truth.size());
    for (Tie tie : other.ties) {
      tie.shot += offset;
      for (TieSight& sight : tie.sights) {
        if (sight.shot != kOwnShot) sight.shot += offset;
      }
      ties.push_back(std::move(tie));
    }
    truth.insert(truth.end(), other.truth.begin(), other.truth.end());
    for (ShotState shot : other.start) {
      shot.pose.network = network;
      start.push_back(shot);
    }
  }
};

/// Points on the walls, seen by every stand's every lens that can; `random` decides all else.
[[nodiscard]] inline RoomSurvey room_survey(Random& random, const Rig& body,
                                            const RoomOptions& options) {
  RoomSurvey survey;
  std::vector<Vec3> centres;  // in the room
  std::vector<Quat> headings;
  for (int i = 0; i < options.stands; ++i) {
    const Vec3 at(random.uniform(-0.5, 0.5) * options.half_size_m.x(),
                  -0.2 + random.uniform(-0.08, 0.08),
                  random.uniform(-0.5, 0.5) * options.half_size_m.z());
    const Quat heading = quat_from_rotation_vector(random_offset(random, 0.02)) *
                         quat_from_rotation_vector(Vec3(0, random.uniform(-kPi, kPi), 0));
    centres.push_back(at);
    headings.push_back(heading);
    TieOptionsSynthetic ring{.per_pair = options.ring_ties, .noise_px = options.noise_px};
    if (options.flex_rad > 0) {
      ring.flex.push_back(Vec3::Zero());
      for (int lens = 1; lens < body.lens_count(); ++lens) {
        ring.flex.emplace_back(random.normal(options.flex_rad), random.normal(options.flex_rad),
                               random.normal(options.flex_rad));
      }
    }
    ShotState shot{
        ring.flex,
        {headings[0].conjugate() * heading, headings[0].conjugate() * (at - centres[0]), 0}};
    survey.truth.push_back(shot);
    const auto ties =
        synthetic_ties(random, body, box_room(options.half_size_m, at, heading), i, ring);
    survey.ties.insert(survey.ties.end(), ties.begin(), ties.end());
    shot.flex.clear();
    if (i > 0) {
      shot.pose.world_from_rig =
          quat_from_rotation_vector(random_offset(random, 0.01)) * shot.pose.world_from_rig;
      shot.pose.position = 1.1 * shot.pose.position + random_offset(random, 0.03);
    }
    survey.start.push_back(shot);
  }

  const double sigma = std::max(options.noise_px, 1e-3);
  int found = 0;
  while (found < options.tracks && options.stands > 1) {
    const int first = random.integer(0, options.stands - 1);
    const auto f = static_cast<std::size_t>(first);
    const Vec3 direction = random_direction(random);
    const double distance = box_room(options.half_size_m, centres[f], headings[f])(direction);
    const Vec3 in_room = centres[f] + distance * (headings[f] * direction);
    Tie tie{.shot = first};
    std::vector<TieSight> sights;
    for (int shot = 0; shot < options.stands; ++shot) {
      const auto s = static_cast<std::size_t>(shot);
      const Vec3 seen = headings[s].conjugate() * (in_room - centres[s]);
      const Rig rig = flexed(body, survey.truth[s].flex);
      for (int lens = 0; lens < rig.lens_count(); ++lens) {
        const auto px = rig.lenses[static_cast<std::size_t>(lens)].project_point(seen.normalized(),
                                                                                 1 / seen.norm());
        if (!px) continue;
        const Vec2 noise(random.normal(options.noise_px), random.normal(options.noise_px));
        sights.push_back({lens, *px + (options.noise_px > 0 ? noise : Vec2(Vec2::Zero())),
                          Mat2::Identity() * sigma * sigma, shot == first ? kOwnShot : shot});
      }
    }
    // Not every stand finds every point again.
    for (const TieSight& sight : sights) {
      const bool own = sight.shot == kOwnShot;
      if (!own && !random.chance(0.5)) continue;
      if (static_cast<int>(tie.sights.size()) < options.longest_track) tie.sights.push_back(sight);
    }
    const bool own = std::any_of(tie.sights.begin(), tie.sights.end(),
                                 [](const TieSight& s) { return s.shot == kOwnShot; });
    const bool other = std::any_of(tie.sights.begin(), tie.sights.end(),
                                   [](const TieSight& s) { return s.shot != kOwnShot; });
    if (!own || !other) continue;
    survey.ties.push_back(std::move(tie));
    ++found;
  }
  return survey;
}

}  // namespace seamwright::test
