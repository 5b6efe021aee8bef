#pragma once

// What is written of each shot of a run beside its panorama.

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/finish/cube.h"

namespace seamwright {

/// A further JPEG: NAME-WIDTH.jpg.
struct SizedJpeg {
  int width_px = 0;  ///< even
  int quality = 92;  ///< 1…100
};

struct Delivery {
  /// Of every output: {name} is the shot's, {date}, {time} and {body} what the run file says of it.
  std::string names = "{name}";
  std::vector<SizedJpeg> more_jpegs;
  std::string light;                 ///< of brackets, as light: "tif" or "exr"; empty: not written
  bool exr = false;                  ///< NAME.exr, the finished panorama as linear light
  std::optional<CubeOptions> faces;  ///< into the folder NAME-faces
  std::optional<CubeOptions> tiles;  ///< into the folder NAME-tiles

  [[nodiscard]] std::optional<Error> validate() const;
};

/// What a shot says for the pattern of names.
struct NameParts {
  std::string name;
  std::string time;  ///< "2024-05-14 09:12:20"
  std::string body;
};

/// The name of a shot's outputs. Fails where the pattern asks for what the shot does not say.
[[nodiscard]] Result<std::string> output_name(const std::string& pattern, const NameParts& parts);

/// All that decides these files, beside the panorama; empty for a delivery as it is made.
[[nodiscard]] std::string text_of(const Delivery& delivery);

/// Files that are known before the panorama is; `panorama`: NAME.tif in the run's folder.
[[nodiscard]] std::vector<std::filesystem::path> known_files(const Delivery& delivery,
                                                             const std::filesystem::path& panorama);
/// Those whose number its width decides. Reads the panorama's header.
[[nodiscard]] Result<std::vector<std::filesystem::path>> further_files(
    const Delivery& delivery, const std::filesystem::path& panorama);
/// Where the light goes.
[[nodiscard]] std::filesystem::path light_file(const Delivery& delivery,
                                               const std::filesystem::path& panorama);

/// Writes all but the light, from the finished panorama.
[[nodiscard]] Result<void> deliver_rest(const Delivery& delivery,
                                        const std::filesystem::path& panorama,
                                        const ProgressFn& progress = {});

}  // namespace seamwright
