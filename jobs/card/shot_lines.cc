#include "jobs/card/shot_lines.h"

#include <algorithm>

#include <fmt/format.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

fs::path common_folder(const fs::path& a, const fs::path& b) {
  fs::path common;
  auto at = a.begin(), other = b.begin();
  for (; at != a.end() && other != b.end() && *at == *other; ++at, ++other) common /= *at;
  return common;
}

}  // namespace

KnownShots::KnownShots(const RunFile& run) {
  for (std::size_t i = 0; i < run.shots.size(); ++i) {
    const RunShot& shot = run.shots[i];
    if (!shot.name.empty()) names_.insert(shot.name);
    if (!shot.place.empty()) {
      files_.emplace(shot.place.lexically_normal(), i);
      folders_.emplace((shot.place / "").lexically_normal().parent_path(), i);
      continue;
    }
    if (shot.files.empty()) {
      folders_.emplace((shot.folder / "").lexically_normal().parent_path(), i);
    }
    for (const auto& lens : shot.files) {
      for (const fs::path& file : lens) files_.emplace((shot.folder / file).lexically_normal(), i);
    }
  }
}

std::optional<std::size_t> KnownShots::holder_of(const fs::path& file) const {
  const fs::path normal = file.lexically_normal();
  if (const auto at = files_.find(normal); at != files_.end()) return at->second;
  if (const auto at = folders_.find(normal.parent_path()); at != folders_.end()) return at->second;
  return std::nullopt;
}

std::string KnownShots::take_name(const std::string& wanted) {
  std::string name = wanted;
  for (int i = 2; !names_.insert(name).second; ++i) name = fmt::format("{}_{}", wanted, i);
  return name;
}

std::string shot_name(const std::string& time, const std::string& by_files) {
  std::string name = time.empty() ? by_files : time;
  std::erase(name, ':');
  std::replace_if(
      name.begin(), name.end(), [](char c) { return c == ' ' || c == '/' || c == '\\'; }, '_');
  while (name.starts_with('.')) name.erase(0, 1);
  return name.empty() ? "shot" : name;
}

void set_files(RunShot& shot, const std::vector<std::vector<fs::path>>& files) {
  fs::path folder = files.front().front().parent_path();
  for (const auto& lens : files) {
    for (const fs::path& file : lens) folder = common_folder(folder, file.parent_path());
  }
  shot.folder = folder;
  shot.files = files;
  if (folder.empty()) return;
  for (auto& lens : shot.files) {
    for (fs::path& file : lens) file = file.lexically_relative(folder);
  }
}

}  // namespace seamwright
