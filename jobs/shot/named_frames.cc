#include "jobs/shot/named_frames.h"

#include <algorithm>
#include <array>
#include <optional>

#include <fmt/format.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::array<std::string_view, 2> kWords = {"front", "back"};

// What stands behind the last "_" or "-"; nothing where there is none.
std::string ending_of(const fs::path& file) {
  const std::string stem = file.stem().string();
  const auto cut = stem.find_last_of("_-");
  return cut == std::string::npos || cut == 0 ? std::string() : stem.substr(cut + 1);
}

struct Place {
  fs::path shot;  // with its folder: frames of two folders are never one shot
  int lens = 0;
};

// "library_1_front.tif" is lens 0 of library_1.
std::optional<Place> place_by_name(const fs::path& file) {
  const std::string ending = ending_of(file);
  if (ending.empty()) return std::nullopt;
  const std::string stem = file.stem().string();
  const std::string name = stem.substr(0, stem.size() - ending.size() - 1);
  Place place{.shot = file.parent_path() / name, .lens = -1};
  for (std::size_t i = 0; i < kWords.size(); ++i) {
    if (ending == kWords[i]) place.lens = static_cast<int>(i);
  }
  if (ending.size() == 1 && ending[0] >= '0' && ending[0] <= '9') place.lens = ending[0] - '0';
  if (place.lens < 0) return std::nullopt;
  return place;
}

}  // namespace

std::map<fs::path, NamedFrames> frames_by_name(const std::vector<fs::path>& files) {
  std::map<fs::path, NamedFrames> shots;
  for (const fs::path& file : files) {
    if (const auto place = place_by_name(file)) shots[place->shot].emplace(place->lens, file);
  }
  return shots;
}

bool names_lens_by_word(const fs::path& file) {
  return std::find(kWords.begin(), kWords.end(), ending_of(file)) != kWords.end();
}

bool is_whole(const NamedFrames& frames, int lens_count) {
  return static_cast<int>(frames.size()) == lens_count && frames.begin()->first == 0 &&
         frames.rbegin()->first == lens_count - 1;
}

std::string missing_name(const NamedFrames& frames) {
  int missing = 0;
  while (frames.contains(missing)) ++missing;
  const fs::path& beside = frames.begin()->second;
  std::string stem = beside.stem().string();
  stem.resize(stem.size() - ending_of(beside).size());
  const auto index = static_cast<std::size_t>(missing);
  const bool by_word = names_lens_by_word(beside) && index < kWords.size();
  return fmt::format("{}{}{}", stem, by_word ? std::string(kWords[index]) : std::to_string(missing),
                     beside.extension().string());
}

}  // namespace seamwright
