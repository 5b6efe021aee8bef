#include "features/map_join.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {
namespace {

using test::Random;
using test::same_rotation;

constexpr double kNoise_px = 0.2;
constexpr double kWall_m = 4.0;  // between a west and an east room, 4 × 5 m each
constexpr double kHalfHeight_m = 1.3;

struct Feature {
  Vec3 at = Vec3::Zero();
  Descriptor looks{};
};

Descriptor random_looks(Random& random) {
  Descriptor looks{};
  for (auto& value : looks) value = static_cast<std::uint8_t>(random.integer(0, 90));
  return looks;
}

// A place on a wall of the room whose west wall is at x0.
Vec3 on_a_wall(Random& random, double x0) {
  const double along = random.uniform(0, 1);
  const double y = random.uniform(-kHalfHeight_m, kHalfHeight_m);
  switch (random.integer(0, 3)) {
    case 0:
      return {x0, y, 5 * along};
    case 1:
      return {x0 + kWall_m, y, 5 * along};
    case 2:
      return {x0 + kWall_m * along, y, 0};
    default:
      return {x0 + kWall_m * along, y, 5};
  }
}

// Two rooms with a wall between them, as key points would find them: no pictures, but places,
// descriptors and what stands before what.
struct TwoRooms {
  std::vector<Feature> features;
  bool open = true;  ///< the door in the wall between the rooms

  [[nodiscard]] bool sees(const Vec3& eye, const Vec3& at) const {
    const bool same_room = (eye.x() < kWall_m) == (at.x() < kWall_m);
    if (same_room) return true;
    const Vec3 through = eye + (at - eye) * ((kWall_m - eye.x()) / (at.x() - eye.x()));
    return open && through.z() > 1.8 && through.z() < 3.2 && through.y() > -0.8;
  }
};

// Furnished with features of their own.
TwoRooms two_rooms(Random& random) {
  TwoRooms rooms;
  for (int i = 0; i < 1600; ++i) {
    const Vec3 at = on_a_wall(random, i % 2 == 0 ? 0 : kWall_m + 0.05);
    rooms.features.push_back({at, random_looks(random)});
  }
  return rooms;
}

// Stands, their keys, and the links within each room as a search would find them; the rooms'
// networks are 0 and 1, each in the frame of its first stand.
struct House {
  Rig rig = test::nominal_rig();
  std::vector<PlacedShot> truth;   // in the house
  std::vector<PlacedShot> placed;  // in their networks
  std::vector<ShotKeys> keys;
  std::vector<std::vector<int>> feature_of;  // one a key
  std::vector<ShotLink> links;

  House(Random& random, const TwoRooms& rooms, const std::vector<Vec3>& stands) {
    for (const Vec3& at : stands) {
      const Quat turn(Eigen::AngleAxisd(random.uniform(-kPi, kPi), Vec3::UnitY()) *
                      Eigen::AngleAxisd(random.uniform(-0.03, 0.03), Vec3::UnitX()));
      truth.push_back({turn, at, at.x() < kWall_m ? 0 : 1});
      see(random, rooms, truth.back());
    }
    for (std::size_t i = 0; i < truth.size(); ++i) {
      const PlacedShot& first = *std::find_if(truth.begin(), truth.end(), [&](const auto& shot) {
        return shot.network == truth[i].network;
      });
      const Quat from_house = first.world_from_rig.conjugate();
      placed.push_back({(from_house * truth[i].world_from_rig).normalized(),
                        from_house * (truth[i].position - first.position), truth[i].network});
      for (std::size_t j = 0; j < i; ++j) link(static_cast<int>(j), static_cast<int>(i));
    }
  }

  // X_b = … of two stands, as it is.
  [[nodiscard]] RelativePose motion(int a, int b) const {
    return motion_between(truth[static_cast<std::size_t>(a)], truth[static_cast<std::size_t>(b)]);
  }

  [[nodiscard]] int wrong_matches(const ShotLink& link) const {
    return static_cast<
        int>(std::count_if(link.matches.begin(), link.matches.end(), [&](const KeyPair& pair) {
      return feature_of[static_cast<std::size_t>(link.shot_a)][static_cast<std::size_t>(pair.a)] !=
             feature_of[static_cast<std::size_t>(link.shot_b)][static_cast<std::size_t>(pair.b)];
    }));
  }

 private:
  void see(Random& random, const TwoRooms& rooms, const PlacedShot& stand) {
    ShotKeys seen;
    std::vector<int> of;
    for (std::size_t f = 0; f < rooms.features.size(); ++f) {
      const Feature& feature = rooms.features[f];
      if (!rooms.sees(stand.position, feature.at)) continue;
      const Vec3 in_rig = stand.world_from_rig.conjugate() * (feature.at - stand.position);
      const int lens = in_rig.z() > 0 ? 0 : 1;
      const auto px = rig.lenses[static_cast<std::size_t>(lens)].project_point(in_rig.normalized(),
                                                                               1 / in_rig.norm());
      if (!px) continue;
      SphereKey key;
      key.lens = lens;
      key.px = *px;
      key.px += Vec2(random.normal(kNoise_px), random.normal(kNoise_px));
      key.size_rad = static_cast<float>(0.05 / in_rig.norm());
      key.response = 1;
      for (std::size_t k = 0; k < key.descriptor.size(); ++k) {
        const double value = feature.looks[k] + random.normal(8);
        key.descriptor[k] = static_cast<std::uint8_t>(std::clamp(value, 0.0, 255.0));
      }
      seen.keys.push_back(key);
      of.push_back(static_cast<int>(f));
    }
    keys.push_back(std::move(seen));
    feature_of.push_back(std::move(of));
  }

  void link(int a, int b) {
    const auto at_a = static_cast<std::size_t>(a);
    const auto at_b = static_cast<std::size_t>(b);
    if (truth[at_a].network != truth[at_b].network) return;
    ShotLink link;
    link.shot_a = a;
    link.shot_b = b;
    link.b_from_a = motion(a, b);
    for (std::size_t i = 0; i < feature_of[at_a].size(); ++i) {
      const auto same =
          std::find(feature_of[at_b].begin(), feature_of[at_b].end(), feature_of[at_a][i]);
      if (same == feature_of[at_b].end()) continue;
      link.matches.push_back(
          {static_cast<int>(i), static_cast<int>(same - feature_of[at_b].begin())});
    }
    links.push_back(std::move(link));
  }
};

const std::vector<Vec3> kStands = {
    {1.2, 0, 1.5}, {2.6, 0.05, 3.4}, {1.5, 0, 4.0}, {5.6, 0, 1.6}, {6.8, -0.05, 3.2}};

Joined joined(const House& house) {
  auto found = join_networks(house.keys, house.rig, house.links, house.placed);
  REQUIRE(found);
  return std::move(*found);
}

}  // namespace

TEST_CASE("rooms that see each other through an open door become one map") {
  CAPTURE(test::seed());
  Random random(41);
  const House house(random, two_rooms(random), kStands);
  REQUIRE(house.links.size() == 4);
  const Joined found = joined(house);
  REQUIRE(found.trials.size() == 1);
  CHECK(found.trials[0].joined);
  CHECK(found.trials[0].conflicts.blocked < 0.02 * found.trials[0].conflicts.lines);
  CHECK(found.trials[0].inliers < found.trials[0].matches);  // chance matches were among them
  REQUIRE_FALSE(found.links.empty());
  for (const PlacedShot& shot : found.shots) CHECK(shot.network == 0);
  for (int a = 0; a < 3; ++a) {
    for (int b = 3; b < 5; ++b) {
      const RelativePose got = motion_between(found.shots[static_cast<std::size_t>(a)],
                                              found.shots[static_cast<std::size_t>(b)]);
      const RelativePose truth = house.motion(a, b);
      CHECK_THAT(got.rotation, same_rotation(truth.rotation, rad_from_deg(0.1)));
      CHECK((got.translation - truth.translation).norm() < 0.01 * truth.translation.norm());
    }
  }
  for (const ShotLink& link : found.links) {
    CHECK(link.guided);
    CHECK(house.truth[static_cast<std::size_t>(link.shot_a)].network !=
          house.truth[static_cast<std::size_t>(link.shot_b)].network);
    CHECK(house.wrong_matches(link) == 0);
  }
  const Joined again = [&] {
    const ThreadLimit limit(1);
    return joined(house);
  }();
  REQUIRE(again.links.size() == found.links.size());
  for (std::size_t i = 0; i < again.links.size(); ++i) {
    CHECK(again.links[i].matches.size() == found.links[i].matches.size());
    CHECK(again.links[i].b_from_a.translation == found.links[i].b_from_a.translation);
  }
}

TEST_CASE("rooms are joined once the links of a round lie within what was solved") {
  CAPTURE(test::seed());
  Random random(41);
  TwoRooms rooms = two_rooms(random);
  const House house(random, rooms, kStands);
  rooms.open = false;
  const House closed(random, rooms, kStands);
  // The link between the second room's two stands is new, and the solve before put them apart:
  // where nothing else puts them together, the round has no joins.
  std::vector<PlacedShot> apart = closed.placed;
  apart.back() = {Quat::Identity(), Vec3::Zero(), 2};
  RoundJoins joins;
  const auto early = joins.round(closed.keys, closed.rig, closed.links, apart, {});
  REQUIRE(early);
  CHECK_FALSE(early->has_value());
  const auto joined = joins.round(house.keys, house.rig, house.links, house.placed, {});
  REQUIRE(joined);
  REQUIRE(joined->has_value());
  for (const PlacedShot& shot : (*joined)->shots) CHECK(shot.network == 0);
  // The next round only links within what was joined.
  const auto later = joins.round(house.keys, house.rig, house.links, house.placed, {});
  REQUIRE(later);
  REQUIRE(later->has_value());
  CHECK((*later)->trials.empty());
}

TEST_CASE("rooms that look alike and do not see each other stay apart") {
  CAPTURE(test::seed());
  Random random(42);
  TwoRooms rooms = two_rooms(random);
  rooms.open = false;
  SECTION("the same paper on every wall") {
    std::vector<Descriptor> pattern;
    for (int i = 0; i < 12; ++i) pattern.push_back(random_looks(random));
    for (std::size_t i = 0; i < rooms.features.size(); ++i) {
      if (i % 4 < 2) rooms.features[i].looks = pattern[i % pattern.size()];
    }
  }
  SECTION("the same large picture, hung in the same corner, and the same door") {
    for (int i = 0; i < 140; ++i) {
      const Feature of_picture{{0, random.uniform(-0.6, 0.4), random.uniform(1, 2.2)},
                               random_looks(random)};
      rooms.features.push_back(of_picture);
      rooms.features.push_back(of_picture);
      rooms.features.back().at.x() += kWall_m + 0.05;
      rooms.features.back().at.z() += 0.9;
    }
  }
  SECTION("the same furniture: a corner full of things, in depth as well") {
    for (int i = 0; i < 200; ++i) {
      const Feature of_bed{
          {random.uniform(0.2, 1.6), random.uniform(0.3, 1.2), random.uniform(0.2, 1.8)},
          random_looks(random)};
      rooms.features.push_back(of_bed);
      rooms.features.push_back(of_bed);
      rooms.features.back().at.x() += kWall_m + 1.2;
      rooms.features.back().at.z() += 2.5;
    }
  }
  const House house(random, rooms, kStands);
  const Joined found = joined(house);
  REQUIRE(found.trials.size() == 1);
  const JoinTrial& trial = found.trials.front();
  CAPTURE(trial.matches, trial.inliers, trial.cells, trial.conflicts.lines, trial.conflicts.blocked,
          trial.guided);
  CHECK_FALSE(trial.joined);
  CHECK(found.links.empty());
  for (std::size_t i = 0; i < found.shots.size(); ++i) {
    CHECK(found.shots[i].network == house.placed[i].network);
  }
}

TEST_CASE("stands of one map that no search linked are linked along their circles") {
  CAPTURE(test::seed());
  Random random(43);
  House house(random, two_rooms(random), kStands);
  REQUIRE(house.links.front().shot_a == 0);
  REQUIRE(house.links.front().shot_b == 1);
  house.links.erase(house.links.begin());  // 0 and 1 still hang together by 2
  const Joined found = joined(house);
  const auto back = std::find_if(found.links.begin(), found.links.end(), [](const ShotLink& link) {
    return link.shot_a == 0 && link.shot_b == 1;
  });
  REQUIRE(back != found.links.end());
  CHECK(back->matches.size() > 300);
  CHECK(house.wrong_matches(*back) <= 3);
}

TEST_CASE("joining stops when told to") {
  Random random(44);
  const House house(random, two_rooms(random), kStands);
  const auto stopped = join_networks(house.keys, house.rig, house.links, house.placed, {},
                                     [](const Progress&) { return false; });
  REQUIRE_FALSE(stopped);
  CHECK(stopped.error().kind == ErrorKind::cancelled);
}

}  // namespace seamwright
