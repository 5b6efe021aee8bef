#include "shots.h"

#include <filesystem>
#include <future>
#include <stdexcept>

#include <fmt/format.h>

namespace independent {

Picture render(int stand, const std::string& what) {
  return read_exr(fmt::format("{}/stand{}_{}.exr", setting("INDEPENDENT_RENDERS"), stand, what));
}

Room room_at(int stand) { return {render(stand, "ideal"), depth_of(render(stand, "depth"))}; }

std::array<Picture, 2> lights(int stand, const Vector3d& turn_deg) {
  std::array<Lens, 2> lenses = body_lenses();
  lenses[1] = turned(lenses[1], turn_deg);
  const auto one = [stand, lenses](int lens) {
    return light_on_sensor(render(stand, fmt::format("lens{}", lens)),
                           lenses[static_cast<std::size_t>(lens)], lens);
  };
  auto back = std::async(std::launch::async, one, 1);
  Picture front = one(0);
  return {std::move(front), back.get()};
}

std::string time_of(int stand, int second) {
  return fmt::format("2024:05:11 10:{:02}:{:02}", 5 * stand, second);
}

Words write_shot(const std::string& folder, const std::array<Picture, 2>& light, int stand) {
  std::filesystem::create_directories(folder);
  Words files;
  for (std::size_t lens = 0; lens < 2; ++lens) {
    const std::string file = fmt::format("{}/room{}_{}.tif", folder, stand, kNames[lens]);
    const auto seed = static_cast<std::uint32_t>(10 * stand) + static_cast<std::uint32_t>(lens);
    write_tiff(file,
               exposed(light[lens], {.ev = kBright_ev, .full_well = kFull_well, .seed = seed}));
    write_exif(file, {time_of(stand, 0), "1/30", kNames[lens]});
    files.push_back(file);
  }
  return files;
}

Outcome run_seamwright(Words words) {
  words.insert(words.begin(), setting("SEAMWRIGHT_PROGRAM"));
  return run(words);
}

bool done(const Outcome& outcome) { return outcome.exit_code == 0 || outcome.exit_code == 2; }

void learn(const std::vector<Words>& shots, const std::string& template_file) {
  Words words = {"learn", "--baseline-mm", "27", "--body", "Independent 1", "--out", template_file};
  for (const Words& shot : shots) {
    words.emplace_back("--shot");
    words.insert(words.end(), shot.begin(), shot.end());
  }
  const Outcome learnt = run_seamwright(words);
  if (!done(learnt)) throw std::runtime_error("learn failed: " + learnt.err);
}

}  // namespace independent
