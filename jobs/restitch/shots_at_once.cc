#include "jobs/restitch/shots_at_once.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "imaging/picture_limit.h"
#include "imaging/read_image.h"

namespace seamwright {

namespace {

constexpr int kThreadsPerShot = 2;
constexpr double kGib = 1024.0 * 1024 * 1024;

// Above what was measured for frames of 2000² and 4000², single and bracketed, with depth and
// cover.
constexpr double kBytesAtLeast = 64.0 * 1024 * 1024;
constexpr double kBytesPerFramePx = 26;
constexpr double kBytesPerPanoramaPx = 24;  // of one that is worked on as a whole

// A panorama about as wide as the lenses resolve: px of width for each px of a frame.
constexpr double kWidthPerFramePx = 3;

}  // namespace

std::optional<Error> RunBudget::validate() const {
  const auto bad = [](const char* field, const std::string& what, const char* remedy) {
    return Error{
        .kind = ErrorKind::user_input, .where = {}, .field = field, .what = what, .remedy = remedy};
  };
  if (shots < 0 || shots > 1024) {
    return bad("at_once", fmt::format("{} shots", shots), "give 1 to 1024, or 0 to have it chosen");
  }
  if (!std::isfinite(memory_gib) || memory_gib < 0) {
    return bad("memory_gib", fmt::format("{} GiB", memory_gib), "give a number above 0");
  }
  return std::nullopt;
}

double memory_gib_of(const ShotFiles& files, const ShotWishes& wishes, bool whole) {
  // The pictures of a shot are of one size.
  const auto pictures = files.pictures();
  if (pictures.empty()) return 0;
  const auto header = read_image_header(pictures.front());
  if (!header) return 0;
  const double frames_px = static_cast<double>(pictures.size()) * header->width * header->height;
  const double width_px = wishes.width_px > 0 ? wishes.width_px : kWidthPerFramePx * header->width;
  const bool worked_on = whole || wishes.cover.any() || wishes.glow_removal != 0 ||
                         files.bracketed() || has_look(wishes.look, files.bracketed());
  const double panorama_px = worked_on ? 0.5 * width_px * width_px : 0;
  return (kBytesAtLeast + kBytesPerFramePx * frames_px + kBytesPerPanoramaPx * panorama_px) / kGib;
}

int shots_at_once(const RunBudget& budget, int threads, double largest_shot_gib) {
  const int by_threads = budget.shots > 0 ? budget.shots : threads / kThreadsPerShot;
  if (by_threads <= 1 || largest_shot_gib <= 0) return std::max(1, by_threads);
  const double memory_gib = budget.memory_gib > 0
                                ? budget.memory_gib
                                : static_cast<double>(PictureLimit::usual().bytes) / kGib;
  const double by_memory = std::floor(memory_gib / largest_shot_gib);
  return std::max(1, static_cast<int>(std::min(static_cast<double>(by_threads), by_memory)));
}

}  // namespace seamwright
