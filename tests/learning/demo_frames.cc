#include "tests/learning/demo_frames.h"

#include <fstream>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "imaging/read_image.h"

namespace seamwright::test {

namespace fs = std::filesystem;

DemoTruth render_and_forget(const fs::path& dir, DemoOptions options) {
  options.with_panoramas = false;
  const auto written = write_demo(dir, options);
  if (!written) FAIL(written.error().line());
  const auto body = read_template(dir / "truth" / "body.template.yaml");
  REQUIRE(body);
  DemoTruth truth{
      .body = body->rig(), .mean_mount = body->rig(), .position_m = {}, .world_from_rig = {}};
  const nlohmann::json poses = nlohmann::json::parse(std::ifstream(dir / "truth" / "poses.json"));
  Vec3 flex_deg = Vec3::Zero();
  const auto& shots = poses.at("shots");
  for (const auto& shot : shots) {
    const auto at = [&](const char* key, int i) { return shot.at(key).at(i).get<double>(); };
    const std::string name = shot.at("shot");
    for (int axis = 0; axis < 3; ++axis) {
      flex_deg[axis] +=
          at("back_lens_flex_rotation_vector_deg", axis) / static_cast<double>(shots.size());
      truth.position_m[name][axis] = at("position_in_world_m", axis);
    }
    const char* q = "world_from_rig_quaternion_wxyz";
    truth.world_from_rig[name] = Quat(at(q, 0), at(q, 1), at(q, 2), at(q, 3));
  }
  Quat& mount = truth.mean_mount.lenses[1].rig_from_lens;
  mount = quat_from_rotation_vector(flex_deg * rad_from_deg(1)) * mount;
  fs::remove_all(dir / "truth");
  REQUIRE_FALSE(fs::exists(dir / "truth"));
  return truth;
}

LearnShot shot_of(const fs::path& frames, const std::string& name) {
  return {.name = name,
          .load = [frames, name]() -> Result<std::vector<Image>> {
            std::vector<Image> images;
            for (const char* side : {"front", "back"}) {
              auto image = read_image(frames / fmt::format("{}_{}.tif", name, side));
              if (!image) return fail(image.error());
              images.push_back(std::move(*image));
            }
            return images;
          },
          .sources = {}};
}

std::vector<std::string> shots_of_room(const std::string& room) {
  std::vector<std::string> names;
  for (const DemoShot& shot : demo_shots()) {
    if (shot.room == room) names.push_back(shot.name);
  }
  return names;
}

}  // namespace seamwright::test
