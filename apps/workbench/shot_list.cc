#include "apps/workbench/shot_list.h"

#include <algorithm>
#include <optional>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "jobs/shot/shot_list.h"

namespace seamwright::workbench {
namespace fs = std::filesystem;

namespace {

Error nothing(const fs::path& where, const std::string& what) {
  return {.kind = ErrorKind::user_input,
          .where = where.string(),
          .field = {},
          .what = what,
          .remedy =
              "give a *.shot.yaml, or a folder with shot files or frames NAME_front.tif and "
              "NAME_back.tif"};
}

// Without reading any picture.
std::optional<Error> missing_frame(const ListedShot& shot) {
  for (const fs::path& frame : shot.files.frames) {
    std::error_code code;
    if (fs::is_regular_file(frame, code)) continue;
    const bool written = !shot.files.shot_file.empty();
    return Error{.kind = ErrorKind::user_input,
                 .where = written ? shot.files.shot_file.string() : shot.name,
                 .field = "frames",
                 .what = fmt::format("{} is not there", frame.string()),
                 .remedy = "bring it back, or mend the shot file"};
  }
  return std::nullopt;
}

fs::path shot_file_of(const ListedShot& shot) {
  if (!shot.files.shot_file.empty()) return shot.files.shot_file;
  return shot.files.frames.front().parent_path() / (shot.stem() + ".shot.yaml");
}

}  // namespace

Result<ShotList> list_shots(const fs::path& shot_or_folder, int lens_count,
                            const ProgressFn& progress) {
  std::error_code code;
  if (!fs::exists(shot_or_folder, code)) return fail(nothing(shot_or_folder, "is not there"));
  if (!fs::is_directory(shot_or_folder, code) && !is_shot_file(shot_or_folder)) {
    return fail(nothing(shot_or_folder, "is neither a shot file nor a folder"));
  }
  auto listed = seamwright::list_shots({shot_or_folder}, {}, lens_count, progress);
  if (!listed) return tl::unexpected(listed.error());
  ShotList list;
  for (ListedShot& shot : *listed) {
    if (!shot.panorama.empty()) continue;
    if (!shot.failure) shot.failure = missing_frame(shot);
    if (shot.failure) {
      list.left_out.push_back(std::move(*shot.failure));
    } else {
      list.shots.push_back({shot.stem(), shot_file_of(shot), std::move(shot.files)});
    }
  }
  std::sort(list.shots.begin(), list.shots.end(),
            [](const ShotEntry& a, const ShotEntry& b) { return a.name < b.name; });
  if (!list.shots.empty()) return list;
  return fail(list.left_out.empty() ? nothing(shot_or_folder, "holds no shots")
                                    : std::move(list.left_out.front()));
}

}  // namespace seamwright::workbench
