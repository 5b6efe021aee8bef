// How the display pictures of the demo's rooms look to a client, by what is known of the rooms (run
// by hand):
//
//   study_look SHOT=panorama.tif [SHOT=panorama.tif]...
//
// Panoramas in the body's own axes: not levelled, not turned. A line a panorama, over the sphere:
//
//   median L*     of all of it, CIE 1976 under D65
//   ceiling L*    median over white ceilings
//   neutral C*    of the mean a*, b* of surfaces whose reflectances differ by 8 % at most, …
//   spread C*     … and the median of their single C*: light differs from place to place
//   window        what is seen out of a window, or a lit curtain: share with a channel at 254 of
//                 255 or more, and the spread (standard deviation) of L*
//
// The sRGB curve and primaries are taken for granted, which the demo's frames have.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "apps/demo/render.h"
#include "imaging/delta_e2000.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "projection/equirect.h"
#include "tests/support/value_of.h"

namespace {

using namespace seamwright;
using test::value_of;

struct Weighed {
  double value = 0;
  double weight = 0;
};

double median_of(std::vector<Weighed> values) {
  if (values.empty()) return std::nan("");
  std::sort(values.begin(), values.end(),
            [](const Weighed& a, const Weighed& b) { return a.value < b.value; });
  double total = 0, sum = 0;
  for (const Weighed& one : values) total += one.weight;
  for (const Weighed& one : values) {
    sum += one.weight;
    if (sum >= 0.5 * total) return one.value;
  }
  return values.back().value;
}

/// What the rooms' truth says of a direction.
struct Seen {
  bool neutral = false;
  bool ceiling = false;
  bool window = false;
};

class Truth {
 public:
  explicit Truth(const DemoShot& shot)
      : house_(demo::build_house()),
        pose_(demo::pose_of(shot)),
        indoors_(house_.scene.room_at(demo::to_float(pose_.position)) != nullptr &&
                 shot.room != "courtyard") {}

  [[nodiscard]] Seen at(const Vec3& direction_in_rig) const {
    const Vec3 direction = pose_.world_from_rig * direction_in_rig;
    const demo::Ray ray{demo::to_float(pose_.position), demo::to_float(direction)};
    const demo::RayHit sight = house_.scene.look(ray, {});
    if (sight.what != demo::RayHit::What::shape) return {.window = indoors_};
    const demo::Float3 place = ray.origin + ray.direction * sight.t;
    const auto id = sight.shape->materials[static_cast<std::size_t>(sight.face)];
    const demo::Float3 inside = ray.origin + ray.direction * (sight.t - 0.02F);
    const bool outside = indoors_ && house_.scene.room_at(inside) == nullptr && is_out(inside);
    Seen seen{.ceiling = id == house_.palette.ceiling,
              .window = outside || id == house_.palette.sheer_curtain};
    demo::FaceFrame frame = demo::face_frame(*sight.shape, sight.face, place);
    frame.point.footprint = 0.01F;
    const demo::Surface surface = demo::surface_at(house_.scene.materials[id], frame.point);
    const float least = std::min({surface.albedo.x, surface.albedo.y, surface.albedo.z});
    const float most = std::max({surface.albedo.x, surface.albedo.y, surface.albedo.z});
    const bool lit = surface.emission.x + surface.emission.y + surface.emission.z > 0;
    seen.neutral = !lit && !seen.window && most > 0.25F && most < 1.08F * least;
    return seen;
  }

 private:
  // South of the house's front, or beyond what any room reaches.
  [[nodiscard]] static bool is_out(const demo::Float3& p) {
    return p.z < -0.35F || p.z > 12.2F || p.x > 10.4F || p.x < -5.0F;
  }

  demo::House house_;
  demo::Pose pose_;
  bool indoors_;
};

void tell(const std::string& name, const Image& picture) {
  const std::vector<DemoShot> shots = demo_shots();
  const auto shot = std::find_if(shots.begin(), shots.end(),
                                 [&](const DemoShot& one) { return one.name == name; });
  if (shot == shots.end()) {
    std::fprintf(stderr, "there is no shot %s\n", name.c_str());
    std::exit(1);
  }
  const Truth truth(*shot);
  const Equirect raster{picture.width(), picture.height()};
  std::vector<Weighed> all, ceiling, spread, window;
  double a = 0, b = 0, neutral = 0, window_weight = 0, full = 0;
  for (int y = 0; y < picture.height(); y += 2) {
    const auto row = picture.row<std::uint16_t>(y);
    const double weight = std::sin(kPi * (y + 0.5) / picture.height());
    for (int x = 0; x < picture.width(); x += 2) {
      std::array<double, 3> light{};
      double most = 0;
      for (std::size_t c = 0; c < 3; ++c) {
        const double code = row[static_cast<std::size_t>(3 * x) + c] / 65535.0;
        most = std::max(most, code);
        light[c] = srgb_to_linear(code);
      }
      const Lab lab = lab_from_linear_srgb(light);
      const Seen seen = truth.at(raster.direction({x + 0.5, y + 0.5}));
      all.push_back({lab.l, weight});
      if (seen.ceiling) ceiling.push_back({lab.l, weight});
      if (seen.neutral) {
        a += weight * lab.a;
        b += weight * lab.b;
        neutral += weight;
        spread.push_back({std::hypot(lab.a, lab.b), weight});
      }
      if (seen.window) {
        window.push_back({lab.l, weight});
        window_weight += weight;
        full += most >= 254.0 / 255 ? weight : 0;
      }
    }
  }
  double mean = 0, square = 0;
  for (const Weighed& one : window) mean += one.weight * one.value / window_weight;
  for (const Weighed& one : window) {
    square += one.weight * (one.value - mean) * (one.value - mean) / window_weight;
  }
  fmt::print(
      "{:12} median L* {:5.1f}  ceiling L* {:5.1f}  neutral C* {:4.1f} (a* {:+.1f} b* {:+.1f})"
      "  spread C* {:4.1f}  window {:5.1f} % full, L* {:5.1f} ± {:4.1f}\n",
      name, median_of(all), median_of(ceiling), std::hypot(a, b) / neutral, a / neutral,
      b / neutral, median_of(spread), 100 * full / window_weight, mean, std::sqrt(square));
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fputs("usage: study_look SHOT=panorama.tif [SHOT=panorama.tif]...\n", stderr);
    return 1;
  }
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    const auto equals = word.find('=');
    if (equals == std::string::npos) {
      std::fprintf(stderr, "%s: name the shot, as library_1=room.tif\n", argv[i]);
      return 1;
    }
    tell(word.substr(0, equals), value_of(read_image(word.substr(equals + 1))));
  }
  return 0;
}
