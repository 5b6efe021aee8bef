#pragma once

// A run file (`*.run.yaml`): a day's work, or an archive's. It says what is stitched, with what,
// and what is delivered of it. Paths are relative to its folder, so that all of it can move.
//
//   format: seamwright-run
//   version: 3
//
// Version 3 added shots by name, one line each, and what is delivered; version 2 named a key anew.
// docs/day.md describes every key.

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// A JPEG beside each panorama.
struct RunJpeg {
  int quality = 92;
  int width_px = 0;  ///< 0: the panorama's own

  bool operator==(const RunJpeg&) const = default;
};

/// Cube faces, or tiles of them.
struct RunCube {
  int face_px = 0;    ///< 0: as fine as the horizon
  int tile_px = 656;  ///< of tiles
  int quality = 92;   ///< of tiles

  bool operator==(const RunCube&) const = default;
};

/// How bright and how white display pictures are to be (jobs/look/look.h).
struct RunDisplayLook {
  std::optional<std::string> match = {};  ///< "auto", the default, "off", "shot" or "run"
  std::optional<double> room_ev = {};    ///< of match run: how far a room may be off the middle one
  std::optional<double> cast_ev = {};    ///< of match run: colour of light that a room may keep
  std::optional<double> warmer_ev = {};  ///< red against blue, on top of what is found

  bool operator==(const RunDisplayLook&) const = default;
};

/// How panoramas are to look. Said for the whole run, and of one shot where it is an exception.
struct RunLook {
  std::optional<int> width_px = {};        ///< absent: native
  std::optional<std::string> seam = {};    ///< "depth", the default, or "plain"
  RunDisplayLook look = {};                ///< brightness and white of the display pictures
  std::optional<double> brighter_ev = {};  ///< of brackets
  std::optional<double> local = {};  ///< of brackets: large differences of light levelled, 0…1
  std::optional<double> glow_removal = {};  ///< of the glow at bright edges, 0…1
  std::optional<bool> level = {};  ///< set upright; absent: only where a shot file marks edges
  std::optional<double> middle_deg = {};
  std::optional<double> compass_deg = {};
  std::optional<double> cover_deg = {};
  std::optional<std::filesystem::path> plate = {};
  std::optional<double> plate_deg = {};
  std::optional<bool> anyway = {};  ///< stitched even if it does not fit its template
  std::optional<bool> touch = {};   ///< false: a knocked body's shot stays as the template has it

  bool operator==(const RunLook&) const = default;
};

/// One shot of a run.
struct RunShot {
  /// A folder, a frame or a shot file that is named alone; then nothing else is said here.
  std::filesystem::path place = {};
  std::string name = {};                    ///< of its outputs; unique in the run
  std::string time = {};                    ///< for people
  std::string body = {};                    ///< for people
  std::filesystem::path rig_template = {};  ///< empty: the one of the run's that fits
  std::filesystem::path folder = {};  ///< of the files; without files all pictures in it are it
  /// The exposures of each lens, lens 0 first; or of all lenses, where each file holds them all.
  std::vector<std::vector<std::filesystem::path>> files = {};  ///< relative to `folder`
  std::string layout = {};              ///< "side-by-side", "stacked", "one-per-file"; empty: usual
  std::vector<int> quarter_turns = {};  ///< clockwise, one a lens
  std::string odd = {};                 ///< what is odd about it, for people
  bool skip = false;                    ///< left out of the run
  RunLook look = {};

  bool operator==(const RunShot&) const = default;
};

struct RunFile {
  std::vector<RunShot> shots = {};
  std::vector<std::filesystem::path> templates = {};  ///< none: shots and shot files name theirs
  std::filesystem::path out = {};
  std::string names = "{name}";  ///< of the outputs: {name}, {date}, {time}, {body}
  RunLook look = {};
  std::string compression = "none";
  std::vector<RunJpeg> jpegs = {};
  std::string light = {};  ///< of brackets, as light: "tif" or "exr"; empty: not written
  bool exr = false;        ///< the finished panorama as linear light
  std::optional<RunCube> faces = {};
  std::optional<RunCube> tiles = {};
  bool strip_location = false;
  std::string pattern = {};  ///< over file names; empty: by EXIF
  double rest_s = 3;         ///< between two shots
  int frames_per_shot = 0;
  int at_once = 0;        ///< shots stitched side by side; 0: as the machine allows
  double memory_gib = 0;  ///< for all of them; 0: half of the machine's

  bool operator==(const RunFile&) const = default;
};

/// Strict in the way of read_template.
[[nodiscard]] Result<RunFile> read_run_file(const std::filesystem::path& path);
/// The same from text; `name` stands in for the file in errors.
[[nodiscard]] Result<RunFile> parse_run_file(std::string_view yaml, const std::string& name);

/// The newest version's text, which reads back as `run`; what is as usual is left out. One line a
/// shot, and the shots last.
[[nodiscard]] std::string format_run_file(const RunFile& run);
/// A text of version 3 with shots added behind those it holds, otherwise byte for byte as a person
/// left it. Fails where the list is written in a way that cannot be added to.
[[nodiscard]] Result<std::string> with_shots_added(const std::string& yaml, const std::string& name,
                                                   const std::vector<RunShot>& more);

}  // namespace seamwright
