#include "jobs/card/names_tell.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <map>
#include <optional>
#include <set>
#include <string_view>

#include <fmt/format.h>

#include "jobs/shot/named_frames.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

using Files = std::vector<fs::path>;

void drop(Files& files, const std::set<fs::path>& taken) {
  std::erase_if(files, [&](const fs::path& file) { return taken.contains(file); });
}

// NAME_front and NAME_back. A lens that is missing beside a word is told; numbers may be of a row.
void take_endings(Files& files, int lens_count, NamesTold& told) {
  std::set<fs::path> taken;
  for (const auto& [place, frames] : frames_by_name(files)) {
    const bool whole = is_whole(frames, lens_count);
    const bool by_word = names_lens_by_word(frames.begin()->second);
    if (!whole && !by_word) continue;
    for (const auto& [lens, file] : frames) taken.insert(file);
    if (whole) {
      NamedGroup& group = told.groups.emplace_back();
      group.name = place.filename().string();
      for (const auto& [lens, file] : frames) group.frames.push_back(file);
    } else {
      told.notes.push_back({frames.begin()->second.string(),
                            fmt::format("{} is missing beside it", missing_name(frames))});
    }
  }
  drop(files, taken);
}

// The lens that a folder's name tells: front, back, lens0, cam1, 0 …
std::optional<int> lens_of_folder(const fs::path& folder) {
  std::string name = folder.filename().string();
  std::transform(name.begin(), name.end(), name.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  if (name == "front") return 0;
  if (name == "back") return 1;
  for (const std::string_view word : {"lens", "cam"}) {
    if (name.starts_with(word)) name.erase(0, word.size());
  }
  while (!name.empty() && (name[0] == '_' || name[0] == '-')) name.erase(0, 1);
  if (name.size() == 1 && name[0] >= '0' && name[0] <= '9') return name[0] - '0';
  return std::nullopt;
}

void take_folders(Files& files, int lens_count, NamesTold& told) {
  std::map<fs::path, NamedFrames> shots;
  for (const fs::path& file : files) {
    const fs::path folder = file.parent_path();
    if (const auto lens = lens_of_folder(folder)) {
      shots[folder.parent_path() / file.stem()].emplace(*lens, file);
    }
  }
  std::set<fs::path> taken;
  for (const auto& [place, frames] : shots) {
    if (static_cast<int>(frames.size()) != lens_count) continue;
    NamedGroup& group = told.groups.emplace_back();
    group.name = place.filename().string();
    for (const auto& [lens, file] : frames) {
      group.frames.push_back(file);
      taken.insert(file);
    }
  }
  drop(files, taken);
}

struct Numbered {
  fs::path prefix;  // with its folder
  long number = 0;
  fs::path file;
};

std::optional<Numbered> numbered(const fs::path& file) {
  const std::string stem = file.stem().string();
  std::size_t at = stem.size();
  while (at > 0 && std::isdigit(static_cast<unsigned char>(stem[at - 1])) != 0) --at;
  Numbered one{file.parent_path() / stem.substr(0, at), 0, file};
  const auto [end, code] = std::from_chars(stem.data() + at, stem.data() + stem.size(), one.number);
  if (at == stem.size() || code != std::errc{}) return std::nullopt;
  return one;
}

void take_row(const std::vector<Numbered>& row, int lens_count, NamesTold& told) {
  const auto lenses = static_cast<std::size_t>(lens_count);
  if (row.size() % lenses != 0) {
    told.notes.push_back(
        {row.front().file.string(),
         row.size() == 1
             ? std::string("nothing tells which shot it is of")
             : fmt::format("the {} frames up to {} are no whole shots of {} lenses", row.size(),
                           row.back().file.filename().string(), lens_count)});
    return;
  }
  for (std::size_t i = 0; i < row.size(); i += lenses) {
    NamedGroup& group = told.groups.emplace_back();
    group.name = row[i].file.stem().string();
    for (std::size_t k = 0; k < lenses; ++k) group.frames.push_back(row[i + k].file);
  }
}

void take_rows(const Files& files, int lens_count, NamesTold& told) {
  std::vector<Numbered> all;
  for (const fs::path& file : files) {
    if (auto one = numbered(file)) {
      all.push_back(std::move(*one));
    } else {
      told.notes.push_back({file.string(), "nothing tells which shot it is of"});
    }
  }
  std::sort(all.begin(), all.end(), [](const Numbered& a, const Numbered& b) {
    return std::tie(a.prefix, a.number, a.file) < std::tie(b.prefix, b.number, b.file);
  });
  std::vector<Numbered> row;
  for (const Numbered& one : all) {
    const bool goes_on =
        !row.empty() && row.back().prefix == one.prefix && one.number == row.back().number + 1;
    if (!goes_on && !row.empty()) {
      take_row(row, lens_count, told);
      row.clear();
    }
    row.push_back(one);
  }
  if (!row.empty()) take_row(row, lens_count, told);
}

}  // namespace

NamesTold shots_by_names(Files files, int lens_count) {
  NamesTold told;
  if (lens_count == 1) {
    for (const fs::path& file : files) told.groups.push_back({file.stem().string(), {file}});
    return told;
  }
  take_endings(files, lens_count, told);
  take_folders(files, lens_count, told);
  take_rows(files, lens_count, told);
  return told;
}

}  // namespace seamwright
