#include "jobs/brackets/shot_split.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <chrono>

#include "imaging/exif_date.h"

namespace seamwright {
namespace {

int digits(const std::string& text, std::size_t first, std::size_t count) {
  int value = 0;
  std::from_chars(text.data() + first, text.data() + first + count, value);
  return value;
}

std::optional<int> number_at_end(const std::string& name) {
  std::size_t first = name.size();
  while (first > 0 && std::isdigit(static_cast<unsigned char>(name[first - 1])) != 0) --first;
  if (first == name.size() || name.size() - first > 6) return std::nullopt;
  return digits(name, first, name.size() - first);
}

std::vector<ShotPlaces> split_by_name(const std::vector<FramePlace>& places) {
  std::vector<ShotPlaces> shots;
  std::map<std::string, std::size_t> index;
  for (const FramePlace& place : places) {
    const auto [at, is_new] = index.try_emplace(place.shot, shots.size());
    if (is_new) shots.emplace_back();
    shots[at->second].push_back(place);
  }
  return shots;
}

std::vector<ShotPlaces> split_by_count(const std::vector<FramePlace>& places, int per_shot) {
  std::vector<ShotPlaces> shots;
  std::map<std::string, std::size_t> taken;
  for (const FramePlace& place : places) {
    const std::size_t shot = taken[place.lens]++ / static_cast<std::size_t>(per_shot);
    if (shot >= shots.size()) shots.resize(shot + 1);
    shots[shot].push_back(place);
  }
  return shots;
}

std::vector<ShotPlaces> split_by_rest(const std::vector<FramePlace>& places, double rest_s) {
  std::vector<ShotPlaces> shots;
  double end_s = 0;
  for (const FramePlace& place : places) {
    if (shots.empty() || place.starts_s - end_s > rest_s) {
      shots.emplace_back();
      end_s = place.ends_s;
    }
    shots.back().push_back(place);
    end_s = std::max(end_s, place.ends_s);
  }
  return shots;
}

}  // namespace

std::optional<double> seconds_of(const std::string& exif_date) {
  if (!is_exif_date(exif_date)) return std::nullopt;
  namespace chrono = std::chrono;
  const chrono::year_month_day day(chrono::year(digits(exif_date, 0, 4)),
                                   chrono::month(static_cast<unsigned>(digits(exif_date, 5, 2))),
                                   chrono::day(static_cast<unsigned>(digits(exif_date, 8, 2))));
  if (!day.ok()) return std::nullopt;  // 0000:00:00 of a clock that was never set
  const auto days = chrono::sys_days(day).time_since_epoch().count();
  return 86400.0 * static_cast<double>(days) + 3600.0 * digits(exif_date, 11, 2) +
         60.0 * digits(exif_date, 14, 2) + digits(exif_date, 17, 2);
}

std::vector<ShotPlaces> split_shots(std::vector<FramePlace> places,
                                    const std::vector<ListedFrame>& frames,
                                    const GroupingOptions& options) {
  std::stable_sort(places.begin(), places.end(), [&](const FramePlace& a, const FramePlace& b) {
    if (a.starts_s != b.starts_s) return a.starts_s < b.starts_s;
    return frames[a.frame].file.filename() < frames[b.frame].file.filename();
  });
  if (options.pattern && options.pattern->has("shot")) return split_by_name(places);
  if (options.frames_per_shot > 0) return split_by_count(places, options.frames_per_shot);
  return split_by_rest(places, options.rest_s);
}

bool lens_before(const std::string& a, const std::string& b) {
  const auto number_a = number_at_end(a);
  const auto number_b = number_at_end(b);
  if (number_a && number_b && *number_a != *number_b) return *number_a < *number_b;
  const bool front_a = a.find("front") != std::string::npos;
  const bool front_b = b.find("front") != std::string::npos;
  return front_a != front_b ? front_a : a < b;
}

}  // namespace seamwright
