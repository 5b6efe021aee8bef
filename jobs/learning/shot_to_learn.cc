#include "jobs/learning/shot_to_learn.h"

#include <utility>

#include "base/file.h"
#include "imaging/orient.h"

namespace seamwright {

Result<LearnShot> shot_to_learn(ShotFiles files) {
  LearnShot shot{.name = files.name, .load = {}, .sources = {}};
  for (const std::filesystem::path& file : files.frames) {
    auto hash = sha256_of_file(file);
    if (!hash) return tl::unexpected(hash.error());
    shot.sources.push_back({file.filename().string(), std::move(*hash)});
  }
  files.intake.mirrored = false;
  shot.load = [files = std::move(files)]() -> Result<std::vector<Image>> {
    auto frames = read_shot(files.frames, files.intake);
    if (!frames) return tl::unexpected(frames.error());
    std::vector<Image> images;
    for (Frame& frame : *frames) images.push_back(std::move(frame.image));
    return images;
  };
  return shot;
}

std::vector<Frame> frames_as_learned(const LearnShot& shot, bool mirrored) {
  std::vector<Frame> frames;
  auto images = shot.load();
  if (!images) return frames;
  for (Image& image : *images) {
    frames.push_back({mirrored ? mirror_left_right(image) : std::move(image), {}});
  }
  return frames;
}

}  // namespace seamwright
