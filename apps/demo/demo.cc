#include "apps/demo/demo.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/demo/render.h"
#include "base/file.h"
#include "base/make_folder.h"
#include "base/out_of_range.h"
#include "imaging/orient.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"

namespace seamwright {
namespace {

constexpr std::array<std::string_view, 2> kLensNames = {"front", "back"};

Result<std::vector<DemoShot>> chosen_shots(const std::vector<std::string>& names) {
  std::vector<DemoShot> all = demo_shots();
  if (names.empty()) {
    return all;
  }
  std::vector<DemoShot> chosen;
  for (const std::string& name : names) {
    const auto found =
        std::find_if(all.begin(), all.end(), [&](const DemoShot& s) { return s.name == name; });
    if (found == all.end()) {
      std::string known;
      for (const DemoShot& s : all) {
        known += (known.empty() ? "" : ", ") + s.name;
      }
      return fail({.where = "demo",
                   .field = "only_shots",
                   .what = fmt::format("no shot is called \"{}\"", name),
                   .remedy = "choose from " + known});
    }
    chosen.push_back(*found);
  }
  return chosen;
}

constexpr const char* kBodyFile = "body.template.yaml";
constexpr const char* kPosesFile = "poses.json";

std::string_view lens_name(int lens) { return kLensNames[static_cast<std::size_t>(lens)]; }

std::filesystem::path frame_file(const std::filesystem::path& dir, const DemoShot& shot, int lens) {
  return dir / "frames" / fmt::format("{}_{}.tif", shot.name, lens_name(lens));
}

std::filesystem::path bracket_file(const std::filesystem::path& dir, const DemoShot& frame,
                                   int lens) {
  return dir / "brackets" /
         fmt::format("{}_{}_{}.tif", frame.name, frame.frame_number, lens_name(lens));
}

std::filesystem::path depth_file(const std::filesystem::path& dir, const DemoShot& shot, int lens) {
  return dir / "truth" / fmt::format("{}_{}_depth.tif", shot.name, lens_name(lens));
}

std::filesystem::path panorama_file(const std::filesystem::path& dir, const DemoShot& shot) {
  return dir / "truth" / fmt::format("{}_panorama.tif", shot.name);
}

// All that will be written.
std::vector<std::filesystem::path> demo_files(const std::filesystem::path& dir,
                                              const std::vector<DemoShot>& shots,
                                              const DemoOptions& options) {
  std::vector<std::filesystem::path> files;
  if (options.with_truth) files = {dir / "truth" / kBodyFile, dir / "truth" / kPosesFile};
  for (const DemoShot& shot : shots) {
    for (int lens = 0; lens < 2; ++lens) {
      files.push_back(frame_file(dir, shot, lens));
      for (const DemoShot& frame : bracketed(shot, options.brackets_ev)) {
        files.push_back(bracket_file(dir, frame, lens));
      }
      if (options.with_truth) files.push_back(depth_file(dir, shot, lens));
    }
    if (options.with_truth && options.with_panoramas) files.push_back(panorama_file(dir, shot));
  }
  return files;
}

FrameInfo info_of(const DemoShot& shot, int lens, std::uint64_t seed) {
  FrameInfo info;
  info.taken_at = shot.taken_at;
  info.exposure_s = shot.exposure_s;
  info.f_number = shot.f_number;
  info.iso = shot.iso;
  info.exposure_bias_ev = 0;
  info.focal_length_mm = 1.3;
  info.body_make = "Lantern";
  info.body_model = "Lantern Two";
  info.body_serial = fmt::format("{:04}", seed);
  info.lens_model = fmt::format("Lantern fisheye {}", lens_name(lens));
  return info;
}

/// Reports the whole run's progress from each picture's own.
class Steps {
 public:
  Steps(const ProgressFn& progress, int total) : progress_(progress), total_(total) {}
  [[nodiscard]] ProgressFn next() {
    const int done = done_++;
    return [this, done](const Progress& p) {
      return tell(progress_, p.stage, (done + p.fraction) / total_);
    };
  }

 private:
  const ProgressFn& progress_;
  int total_;
  int done_ = 0;
};

nlohmann::json numbers(const Vec3& v) { return {v.x(), v.y(), v.z()}; }

nlohmann::json pose_json(const DemoShot& shot, const Rig& body, const DemoOptions& options) {
  const Rig rig = demo_shot_rig(body, options.seed, shot.name, options.flex_rms_deg);
  const Quat flex = rig.lenses[1].rig_from_lens * body.lenses[1].rig_from_lens.conjugate();
  const Quat world_from_rig = shot.world_from_rig();
  return {{"shot", shot.name},
          {"room", shot.room},
          {"position_in_world_m", numbers(shot.position)},
          {"world_from_rig_rotation_vector_deg",
           numbers(rotation_vector_from_quat(world_from_rig) * deg_from_rad(1))},
          {"world_from_rig_quaternion_wxyz",
           {world_from_rig.w(), world_from_rig.x(), world_from_rig.y(), world_from_rig.z()}},
          {"back_lens_flex_rotation_vector_deg",
           numbers(rotation_vector_from_quat(flex) * deg_from_rad(1))},
          {"back_lens_gain_ev", options.back_gain_ev}};
}

Result<void> write_body(const std::filesystem::path& truth, const Rig& body,
                        const std::vector<DemoShot>& shots, const DemoOptions& options) {
  RigTemplate value;
  value.body = fmt::format("Lantern {:04} (true)", options.seed);
  value.mirrored = options.mirrored;
  value.solution.rig = body;
  value.solution.quality.shots = static_cast<int>(shots.size());
  value.solution.quality.inlier_share = 1;
  value.solution.quality.flex_sigma_rad = rad_from_deg(options.flex_rms_deg);
  if (auto done = write_template(truth / kBodyFile, value); !done) {
    return done;
  }
  nlohmann::json poses = {{"world_axes", "x east, y down, z north, metres"},
                          {"shots", nlohmann::json::array()}};
  for (const DemoShot& shot : shots) {
    poses["shots"].push_back(pose_json(shot, body, options));
  }
  return write_file(truth / kPosesFile, poses.dump(2) + "\n");
}

Result<void> write_frames(const std::filesystem::path& dir, const demo::Studio& studio,
                          const DemoShot& shot, const DemoOptions& options, Steps& steps) {
  for (int lens = 0; lens < 2; ++lens) {
    auto image = demo::render_frame(studio, shot, lens, options, steps.next());
    if (!image) {
      return fail(image.error());
    }
    if (options.mirrored) {
      *image = mirror_left_right(*image);
    }
    if (auto done = write_image(frame_file(dir, shot, lens), *image,
                                {.info = info_of(shot, lens, options.seed)});
        !done) {
      return done;
    }
  }
  return {};
}

Result<void> write_brackets(const std::filesystem::path& dir, const demo::Studio& studio,
                            const DemoShot& shot, const DemoOptions& options, Steps& steps) {
  for (const DemoShot& frame : bracketed(shot, options.brackets_ev)) {
    for (int lens = 0; lens < 2; ++lens) {
      auto image = demo::render_frame(studio, frame, lens, options, steps.next());
      if (!image) {
        return fail(image.error());
      }
      if (options.mirrored) {
        *image = mirror_left_right(*image);
      }
      FrameInfo info = info_of(frame, lens, options.seed);
      info.exposure_bias_ev = options.brackets_ev[static_cast<std::size_t>(frame.frame_number - 1)];
      if (auto done = write_image(bracket_file(dir, frame, lens), *image, {.info = info}); !done) {
        return done;
      }
    }
  }
  return {};
}

Result<void> write_truth(const std::filesystem::path& dir, const demo::Studio& studio,
                         const DemoShot& shot, const DemoOptions& options, Steps& steps) {
  for (int lens = 0; lens < 2; ++lens) {
    const Image depth = demo::render_depth(studio, shot, lens, options);
    if (auto done = write_image(depth_file(dir, shot, lens), depth,
                                {.tiff_compression = TiffCompression::deflate});
        !done) {
      return done;
    }
  }
  if (!options.with_panoramas) {
    return {};
  }
  auto panorama = demo::render_panorama(studio, shot, options, steps.next());
  if (!panorama) {
    return fail(panorama.error());
  }
  return write_image(panorama_file(dir, shot), *panorama);
}

}  // namespace

std::optional<Error> DemoOptions::validate() const {
  const std::array checks = {out_of_range("frame_px", frame_px, 64, 8192),
                             out_of_range("panorama_width_px", panorama_width_px, 0, 32768),
                             out_of_range("flex_rms_deg", flex_rms_deg, 0, 2),
                             out_of_range("tilt_pitch_deg", tilt_pitch_deg, -30, 30),
                             out_of_range("tilt_roll_deg", tilt_roll_deg, -30, 30),
                             out_of_range("raise_m", raise_m, -0.8, 0.8),
                             out_of_range("back_gain_ev", back_gain_ev, -4, 4),
                             out_of_range("light_cell_m", light_cell_m, 0.1, 1)};
  for (const auto& check : checks) {
    if (check) {
      return check;
    }
  }
  for (const double ev : brackets_ev) {
    if (auto error = out_of_range("brackets_ev", ev, -8, 8)) {
      return error;
    }
  }
  return body.validate();
}

Result<void> write_demo(const std::filesystem::path& dir, const DemoOptions& options,
                        const ProgressFn& progress) {
  if (const auto error = options.validate()) {
    return fail(*error);
  }
  auto shots = chosen_shots(options.only_shots);
  if (!shots) {
    return fail(shots.error());
  }
  for (DemoShot& shot : *shots) {
    shot.pitch_deg += options.tilt_pitch_deg;
    shot.roll_deg += options.tilt_roll_deg;
    shot.position.y() -= options.raise_m;  // y looks down
  }
  for (const auto& folder : {dir / "frames", dir / "brackets", dir / "truth"}) {
    if ((folder.filename() == "truth" && !options.with_truth) ||
        (folder.filename() == "brackets" && options.brackets_ev.empty())) {
      continue;
    }
    if (auto made = make_folder(folder); !made) {
      return made;
    }
  }
  if (auto free = check_destinations(demo_files(dir, *shots, options)); !free) {
    return free;
  }
  if (!tell(progress, "lighting the rooms", 0)) {
    return fail({.kind = ErrorKind::cancelled, .what = "the demo was stopped"});
  }
  const auto studio = demo::Studio::open(options);
  if (!studio) {
    return fail(studio.error());
  }
  if (options.with_truth) {
    if (auto done = write_body(dir / "truth", studio->body, *shots, options); !done) {
      return done;
    }
  }
  const bool panoramas = options.with_truth && options.with_panoramas;
  const int pictures = (panoramas ? 3 : 2) + 2 * static_cast<int>(options.brackets_ev.size());
  Steps steps(progress, static_cast<int>(shots->size()) * pictures);
  for (const DemoShot& shot : *shots) {
    if (auto done = write_frames(dir, *studio, shot, options, steps); !done) {
      return done;
    }
    if (auto done = write_brackets(dir, *studio, shot, options, steps); !done) {
      return done;
    }
    if (options.with_truth) {
      if (auto done = write_truth(dir, *studio, shot, options, steps); !done) {
        return done;
      }
    }
  }
  return {};
}

struct DemoScene::State {
  demo::House house = demo::build_house();
};

DemoScene::DemoScene() : state_(std::make_unique<State>()) {}
DemoScene::DemoScene(DemoScene&&) noexcept = default;
DemoScene& DemoScene::operator=(DemoScene&&) noexcept = default;
DemoScene::~DemoScene() = default;

double DemoScene::distance_m(const DemoShot& shot, const Vec3& origin_in_rig,
                             const Vec3& direction_in_rig) const {
  const demo::Pose pose = demo::pose_of(shot);
  const demo::Ray ray{demo::to_float(pose.position + pose.world_from_rig * origin_in_rig),
                      demo::to_float(pose.world_from_rig * direction_in_rig)};
  const auto stand = demo::stand_under(state_->house.palette, demo::to_float(shot.position),
                                       demo::floor_height(shot));
  const demo::RayHit hit = state_->house.scene.look(ray, stand);
  return hit.what == demo::RayHit::What::sky ? std::numeric_limits<double>::infinity()
                                             : static_cast<double>(hit.t);
}

}  // namespace seamwright
