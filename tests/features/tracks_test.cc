#include "features/tracks.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "features/descriptor_match.h"
#include "features/track_chain.h"
#include "tests/features/scene.h"
#include "tests/support/matchers.h"
#include "tests/support/rigs.h"

namespace seamwright {
namespace {

using test::same_direction;
using test::same_rotation;

// A body on its stick in the synthetic room.
struct Stand {
  Vec3 at = Vec3::Zero();  // in the box
  Quat world_from_rig = Quat::Identity();

  [[nodiscard]] std::vector<Image> frames(const Rig& rig, std::uint64_t stream) const {
    const test::Scene scene({.stand = at, .grain_m = 0.06});
    std::vector<Image> frames;
    for (MountedLens lens : rig.lenses) {
      // The scene's axes are the world's: turn the lens instead.
      lens.rig_from_lens = world_from_rig * lens.rig_from_lens;
      lens.pupil = world_from_rig * lens.pupil;
      frames.push_back(
          test::photograph(scene, lens, {.stream = stream++, .samples = 2, .least_theta_rad = 0}));
    }
    return frames;
  }
};

Quat heading(double deg) { return Quat(Eigen::AngleAxisd(rad_from_deg(deg), Vec3::UnitY())); }
Quat roll(double deg) { return Quat(Eigen::AngleAxisd(rad_from_deg(deg), Vec3::UnitZ())); }

Rig small_rig() {
  test::RigOptions options;
  options.width_px = options.height_px = 480;
  return test::nominal_rig(options);
}

// Two stands, keys and frames; made once.
struct Room {
  Rig rig = small_rig();
  std::vector<Stand> stands = {{Vec3(0.2, 0.1, -0.3), roll(1)},
                               {Vec3(-0.5, 0.0, 0.2), heading(110) * roll(-1)}};
  std::vector<std::vector<Image>> frames;
  std::vector<ShotKeys> keys;

  Room() {
    std::uint64_t stream = 3;
    for (const Stand& stand : stands) {
      frames.push_back(stand.frames(rig, stream));
      stream += 10;
      keys.push_back(find_sphere_keys(frames.back(), rig, {.max_keys_per_lens = 1200}).value());
    }
  }

  [[nodiscard]] RelativePose truth() const {
    const Quat b_from_world = stands[1].world_from_rig.conjugate();
    return {b_from_world * stands[0].world_from_rig, b_from_world * (stands[0].at - stands[1].at)};
  }

  [[nodiscard]] FrameSource source() const {
    return [this](int shot) -> Result<std::vector<Image>> {
      return frames[static_cast<std::size_t>(shot)];
    };
  }

  // Where `sight` should be, given the reference of its track.
  [[nodiscard]] std::optional<Vec2> expected(const Tie& track, const TieSight& sight) const {
    const Stand& here = stands[static_cast<std::size_t>(track.shot)];
    const Stand& there = stands[static_cast<std::size_t>(track.shot_of(sight))];
    const TieSight& reference = track.sights.front();
    const MountedLens& lens = rig.lenses[static_cast<std::size_t>(reference.lens)];
    const auto direction = lens.direction_in_rig(reference.px);
    if (!direction) return std::nullopt;
    const Vec3 in_world = here.world_from_rig * *direction;
    const Vec3 pupil = here.world_from_rig * lens.ray_origin_in_rig(*direction);
    const Vec3 hit = test::Scene({.stand = here.at}).hit(pupil, in_world) + here.at;
    const Vec3 in_rig = there.world_from_rig.conjugate() * (hit - there.at);
    return rig.lenses[static_cast<std::size_t>(sight.lens)].project_point(in_rig.normalized(),
                                                                          1 / in_rig.norm());
  }
};

const Room& room() {
  static const Room made;
  return made;
}

int agreeing(const ShotKeys& a, const ShotKeys& b, const Rig& rig, const Quat& b_from_a) {
  int count = 0;
  for (int lens_a = 0; lens_a < 2; ++lens_a) {
    for (int lens_b = 0; lens_b < 2; ++lens_b) {
      for (const KeyPair& pair :
           match_blocks(key_block(a, rig, lens_a), key_block(b, rig, lens_b), 0.8)) {
        const SphereKey& key_a = a.keys[static_cast<std::size_t>(pair.a)];
        const SphereKey& key_b = b.keys[static_cast<std::size_t>(pair.b)];
        const Vec3 from_a = b_from_a * ray_of(rig, key_a.lens, key_a.px)->direction;
        const Vec3 from_b = ray_of(rig, key_b.lens, key_b.px)->direction;
        count += angle_between(from_a, from_b) < rad_from_deg(1) ? 1 : 0;
      }
    }
  }
  return count;
}

bool same_tracks(const TrackSet& a, const TrackSet& b) {
  return std::equal(a.tracks.begin(), a.tracks.end(), b.tracks.begin(), b.tracks.end(),
                    [](const Tie& one, const Tie& other) {
                      return one.shot == other.shot &&
                             std::equal(
                                 one.sights.begin(), one.sights.end(), other.sights.begin(),
                                 other.sights.end(), [](const TieSight& s, const TieSight& t) {
                                   return s.lens == t.lens && s.shot == t.shot && s.px == t.px &&
                                          s.covariance_px2 == t.covariance_px2;
                                 });
                    });
}

// One key a lens and place, for chains.
ShotKeys keys_at(std::initializer_list<std::pair<int, double>> lens_and_u) {
  ShotKeys shot;
  for (const auto& [lens, u] : lens_and_u) {
    SphereKey key;
    key.lens = lens;
    key.px = Vec2(u, 50);
    key.response = static_cast<float>(shot.keys.size());
    shot.keys.push_back(key);
  }
  return shot;
}

ShotLink link_of(int a, int b, std::vector<KeyPair> matches) {
  ShotLink link;
  link.shot_a = a;
  link.shot_b = b;
  link.matches = std::move(matches);
  return link;
}

}  // namespace

TEST_CASE("descriptors are upright against the meridian: heading does not matter, leaning does") {
  const Rig rig = small_rig();
  const Vec3 at(0.2, 0.1, -0.3);
  const auto keys = [&](const Quat& world_from_rig, std::uint64_t stream) {
    const Stand stand{at, world_from_rig};
    return find_sphere_keys(stand.frames(rig, stream), rig, {.max_keys_per_lens = 800}).value();
  };
  const ShotKeys straight = keys(Quat::Identity(), 1);
  // 33° is no multiple of the planes' spacing: keys fall on other places of other planes.
  const int turned = agreeing(straight, keys(heading(33), 11), rig, heading(-33));
  const int leaning = agreeing(straight, keys(roll(60), 21), rig, roll(-60));
  CHECK(turned > 500);
  CHECK(leaning < turned / 3);
}

TEST_CASE("keys lie inside the field, apart from the vertical, by lens and down the frame") {
  const auto& keys = room().keys[0].keys;
  REQUIRE(keys.size() > 1000);
  for (std::size_t i = 0; i < keys.size(); ++i) {
    const auto ray = ray_of(room().rig, keys[i].lens, keys[i].px);
    REQUIRE(ray);
    REQUIRE(std::abs(ray->direction.y()) <= std::cos(rad_from_deg(9.99)));
    if (i == 0) continue;
    REQUIRE(std::pair(keys[i - 1].lens, keys[i - 1].px.y()) <=
            std::pair(keys[i].lens, keys[i].px.y()));
  }
  CHECK_FALSE(find_sphere_keys({}, room().rig));
  CHECK_FALSE(find_sphere_keys(room().frames[0], room().rig, {.resolution = 2}));
}

TEST_CASE("two stands of a room are linked and their tracks are true to a fraction of a pixel") {
  const auto links = find_links(room().keys, room().rig);
  REQUIRE(links);
  REQUIRE(links->size() == 1);
  TrackOptions options;
  options.refine.align.sigma_floor_px = 0.02;  // flat walls need no allowance for relief
  const auto set = find_tracks(room().keys, *links, room().source(), room().rig, options);
  REQUIRE(set);
  const RelativePose truth = room().truth();
  const RelativePose& found = set->links.front().b_from_a;
  CHECK_THAT(found.rotation, same_rotation(truth.rotation, rad_from_deg(0.05)));
  CHECK_THAT(found.translation, same_direction(truth.translation, rad_from_deg(0.1)));

  REQUIRE(set->tracks.size() > 150);
  std::vector<double> errors_px;
  std::vector<double> chi2;
  int outliers = 0;
  for (const Tie& track : set->tracks) {
    REQUIRE(track.sights.front().shot == kOwnShot);
    bool other_shot = false;
    for (std::size_t i = 1; i < track.sights.size(); ++i) {
      const TieSight& sight = track.sights[i];
      other_shot = other_shot || track.shot_of(sight) != track.shot;
      const auto px = room().expected(track, sight);
      REQUIRE(px);
      const Vec2 error = sight.px - *px;
      const Mat2 covariance = sight.covariance_px2 + track.sights.front().covariance_px2;
      outliers += error.norm() > 2 ? 1 : 0;
      errors_px.push_back(error.norm());
      chi2.push_back(error.dot(covariance.inverse() * error));
    }
    REQUIRE(other_shot);
  }
  const auto median = [](std::vector<double> values) {
    std::nth_element(values.begin(), values.begin() + static_cast<long>(values.size() / 2),
                     values.end());
    return values[values.size() / 2];
  };
  CHECK(outliers <= 0.02 * static_cast<double>(errors_px.size()));
  CHECK(median(errors_px) < 0.12);
  // Medians of χ² with two degrees: 1.386.
  CHECK(median(chi2) / 1.386 > 0.4);
  CHECK(median(chi2) / 1.386 < 2);
}

TEST_CASE("tracks are the same whatever the thread count", "[long]") {
  const auto made = [](int threads) {
    const ThreadLimit limit(threads);
    const Room& r = room();
    auto links = find_links(r.keys, r.rig).value();
    TrackOptions options;
    options.max_tracks_per_shot = 60;
    return find_tracks(r.keys, std::move(links), r.source(), r.rig, options).value();
  };
  const TrackSet one = made(1);
  REQUIRE(one.tracks.size() > 50);
  CHECK(same_tracks(one, made(0)));
}

TEST_CASE("chains join links and lenses, and drop what one lens sees at two places") {
  const std::vector<ShotKeys> keys = {keys_at({{0, 10}, {0, 40}, {1, 10}}),
                                      keys_at({{0, 10}, {0, 40}, {0, 41}}), keys_at({{0, 10}})};
  const std::vector<std::vector<KeyPair>> within = {{{0, 2}}, {}, {}};
  SECTION("a point of three shots and two lenses is one track") {
    const std::vector<ShotLink> links = {link_of(0, 1, {{0, 0}}), link_of(1, 2, {{0, 0}})};
    const Chains chains = chain(keys, links, within);
    REQUIRE(chains.tracks.size() == 1);
    CHECK(chains.tracks[0] == std::vector<KeyOfShot>{{0, 0}, {0, 2}, {1, 0}, {2, 0}});
    CHECK(chains.conflicts == 0);
  }
  SECTION("two places in one frame are a conflict") {
    const std::vector<ShotLink> links = {link_of(0, 1, {{0, 0}, {1, 1}}),
                                         link_of(0, 2, {{0, 0}, {1, 0}})};
    const Chains chains = chain(keys, links, within);
    CHECK(chains.tracks.empty());
    CHECK(chains.conflicts == 1);
  }
  SECTION("two keys at one place are one sight, the stronger") {
    const std::vector<ShotLink> links = {link_of(0, 1, {{1, 1}, {1, 2}})};
    const Chains chains = chain(keys, links, within);
    REQUIRE(chains.tracks.size() == 1);
    CHECK(chains.tracks[0] == std::vector<KeyOfShot>{{0, 1}, {1, 2}});
  }
  SECTION("a point of one shot alone is no track") {
    CHECK(chain(keys, {}, within).tracks.empty());
  }
}

TEST_CASE("finding tracks stops when told to, and says why frames cannot be used") {
  const auto links = find_links(room().keys, room().rig).value();
  const auto stopped = find_tracks(room().keys, links, room().source(), room().rig, {},
                                   [](const Progress&) { return false; });
  REQUIRE_FALSE(stopped);
  CHECK(stopped.error().kind == ErrorKind::cancelled);
  const auto unread = find_tracks(
      room().keys, links,
      [](int) -> Result<std::vector<Image>> {
        return fail({.kind = ErrorKind::io, .what = "gone"});
      },
      room().rig);
  REQUIRE_FALSE(unread);
  CHECK(unread.error().what == "gone");
}

}  // namespace seamwright
