#include "apps/workbench/shot_list.h"

#include <algorithm>
#include <map>
#include <string_view>
#include <system_error>

#include <fmt/format.h>

namespace seamwright::workbench {
namespace fs = std::filesystem;

namespace {

constexpr std::string_view kShotSuffix = ".shot.yaml";

// Frames of one shot, lens by lens.
using Frames = std::map<int, fs::path>;

// "library_1_front.tif" is lens 0 of library_1.
bool add_frame(const fs::path& file, std::map<std::string, Frames>& shots) {
  const std::string suffix = file.extension().string();
  if (suffix != ".tif" && suffix != ".tiff" && suffix != ".jpg" && suffix != ".png") return false;
  const std::string stem = file.stem().string();
  const auto cut = stem.find_last_of("_-");
  if (cut == std::string::npos || cut == 0) return false;
  const std::string ending = stem.substr(cut + 1);
  int lens = ending == "front" ? 0 : ending == "back" ? 1 : -1;
  if (ending.size() == 1 && ending[0] >= '0' && ending[0] <= '9') lens = ending[0] - '0';
  if (lens < 0) return false;
  return shots[stem.substr(0, cut)].emplace(lens, file).second;
}

std::string name_of(const fs::path& shot_file) {
  const std::string file = shot_file.filename().string();
  return file.substr(0, file.size() - kShotSuffix.size());
}

Error nothing(const fs::path& where, const std::string& what) {
  return {.kind = ErrorKind::user_input,
          .where = where.string(),
          .field = {},
          .what = what,
          .remedy =
              "give a *.shot.yaml, or a folder with shot files or frames NAME_front.tif and "
              "NAME_back.tif"};
}

// The first lens that is not there, beside the frame of another one.
Error lacks_lens(const Frames& frames) {
  int missing = 0;
  while (frames.contains(missing)) ++missing;
  return {.kind = ErrorKind::user_input,
          .where = frames.begin()->second.string(),
          .field = "lenses",
          .what = fmt::format("the frame of lens {} is missing beside it", missing),
          .remedy = "add the frame, or a shot file that names all of them"};
}

}  // namespace

Result<ShotList> list_shots(const fs::path& shot_or_folder) {
  std::error_code code;
  if (!fs::exists(shot_or_folder, code)) return fail(nothing(shot_or_folder, "is not there"));
  if (!fs::is_directory(shot_or_folder, code)) {
    if (!shot_or_folder.filename().string().ends_with(kShotSuffix)) {
      return fail(nothing(shot_or_folder, "is neither a shot file nor a folder"));
    }
    return ShotList{{{name_of(shot_or_folder), shot_or_folder, true, {}}}, {}};
  }
  std::map<std::string, ShotEntry> entries;
  std::map<std::string, Frames> shots;
  for (fs::directory_iterator at(shot_or_folder, code), end; !code && at != end;
       at.increment(code)) {
    std::error_code unknown;
    if (!at->is_regular_file(unknown)) continue;
    if (at->path().filename().string().ends_with(kShotSuffix)) {
      const std::string name = name_of(at->path());
      entries[name] = {name, at->path(), true, {}};
    } else {
      add_frame(at->path(), shots);
    }
  }
  if (code) return fail(nothing(shot_or_folder, "cannot be read: " + code.message()));
  ShotList list;
  for (const auto& [name, frames] : shots) {
    if (entries.contains(name)) continue;
    const bool whole = frames.size() >= 2 && frames.begin()->first == 0 &&
                       frames.rbegin()->first == static_cast<int>(frames.size()) - 1;
    if (!whole) {
      list.left_out.push_back(lacks_lens(frames));
      continue;
    }
    ShotEntry entry{name, shot_or_folder / (name + std::string(kShotSuffix)), false, {}};
    for (const auto& [lens, file] : frames) entry.frames.push_back(file);
    entries[name] = std::move(entry);
  }
  for (auto& [name, entry] : entries) list.shots.push_back(std::move(entry));
  if (list.shots.empty()) return fail(nothing(shot_or_folder, "holds no shots"));
  return list;
}

}  // namespace seamwright::workbench
