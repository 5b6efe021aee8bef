#include "jobs/restitch/room_lights.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "jobs/archive/stamp.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// Of what a light is told by. Another number where the same pictures tell something else.
constexpr int kTellingVersion = 1;
// The times of some file systems move in steps of two seconds.
constexpr std::int64_t kSettled_ns = 2'000'000'000;

std::optional<double> number_in(const nlohmann::json& line, const char* key) {
  const auto found = line.find(key);
  if (found == line.end() || !found->is_number()) return std::nullopt;
  const auto value = found->get<double>();
  return std::isfinite(value) ? std::optional(value) : std::nullopt;
}

std::optional<RoomLight> light_in(const nlohmann::json& line) {
  const auto level = number_in(line, "level_ev");
  const auto red = number_in(line, "red_ev");
  const auto blue = number_in(line, "blue_ev");
  const auto grey = number_in(line, "grey_share");
  if (!level || !red || !blue || !grey) return std::nullopt;
  return RoomLight{
      .light = {.level_ev = *level, .red_ev = *red, .blue_ev = *blue, .grey_share = *grey},
      .exposure_ev = number_in(line, "exposure_ev")};
}

nlohmann::json line_of(const std::string& key, const RoomLight& room) {
  nlohmann::json line = {{"room", key},
                         {"level_ev", room.light.level_ev},
                         {"red_ev", room.light.red_ev},
                         {"blue_ev", room.light.blue_ev},
                         {"grey_share", room.light.grey_share}};
  if (room.exposure_ev) line["exposure_ev"] = *room.exposure_ev;
  return line;
}

}  // namespace

RoomLights::RoomLights(const fs::path& folder, Keep keep) {
  const fs::path file = folder / ".restitch" / "lights";
  if (keep == Keep::yes) {
    if (auto opened = Journal::open(file)) file_.emplace(std::move(*opened));
  }
  if (file_) {
    take(file_->entries());
  } else if (const auto contents = Journal::read(file)) {
    take(contents->entries);
  }
}

void RoomLights::take(const std::vector<nlohmann::json>& lines) {
  for (const nlohmann::json& line : lines) {
    const auto key = line.find("room");
    if (key == line.end() || !key->is_string()) continue;
    if (const auto light = light_in(line)) known_.insert_or_assign(key->get<std::string>(), *light);
  }
}

std::optional<RoomLight> RoomLights::of(const std::string& key) const {
  const auto known = known_.find(key);
  return known == known_.end() ? std::nullopt : std::optional(known->second);
}

void RoomLights::put(const std::string& key, const RoomLight& light) {
  known_.insert_or_assign(key, light);
  if (!file_) return;
  // What cannot be kept is told anew by the next run.
  if (!file_->append(line_of(key, light))) file_.reset();
}

std::optional<std::string> stamp_key(const std::vector<fs::path>& files,
                                     const std::string& settings) {
  const std::int64_t now_ns = std::chrono::duration_cast<std::chrono::nanoseconds>(
                                  std::chrono::system_clock::now().time_since_epoch())
                                  .count();
  std::string text = fmt::format("telling {}\n{}\n", kTellingVersion, settings);
  for (const fs::path& file : files) {
    const auto stamp = stamp_of(file);
    if (!stamp || std::max(stamp->changed_ns, stamp->status_ns) > now_ns - kSettled_ns) {
      return std::nullopt;
    }
    text += fmt::format("{} {} {} {} {}\n", fs::absolute(file).lexically_normal().string(),
                        stamp->bytes, stamp->changed_ns, stamp->status_ns, stamp->inode);
  }
  return sha256(text);
}

}  // namespace seamwright
