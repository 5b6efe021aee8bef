#include "compose/seams/seam_views.h"

#include <fmt/format.h>

namespace seamwright {

namespace {

Error misfit(const char* raster, const char* what) {
  return {.kind = ErrorKind::user_input,
          .where = {},
          .field = fmt::format("seam views {}", raster),
          .what = what,
          .remedy = "give all rasters of a ribbon in one size"};
}

struct Wanted {
  const Image& raster;
  const char* name;
  SampleType type;
  bool needed;
};

bool in_both(const SeamViews& views, int x, int y) {
  return state_at(views.state_a, x, y) != ViewState::outside &&
         state_at(views.state_b, x, y) != ViewState::outside;
}

}  // namespace

std::optional<Error> check(const SeamViews& views) {
  const Image& a = views.light_a;
  const Image& b = views.light_b;
  if (a.empty()) return misfit("light_a", "is empty");
  if (a.type() != SampleType::f32) return misfit("light_a", "is not of float samples");
  if (has_alpha(a.channels())) return misfit("light_a", "is neither grey nor RGB");
  if (b.type() != a.type() || b.channels() != a.channels()) {
    return misfit("light_b", "is of another kind than light_a");
  }
  const Wanted rasters[] = {{b, "light_b", SampleType::f32, true},
                            {views.state_a, "state_a", SampleType::u8, true},
                            {views.state_b, "state_b", SampleType::u8, true},
                            {views.inverse_m, "inverse_m", SampleType::f32, false},
                            {views.confidence, "confidence", SampleType::f32, false},
                            {views.wish, "wish", SampleType::u8, false},
                            {views.dearness, "dearness", SampleType::f32, false}};
  for (const auto& [raster, name, type, needed] : rasters) {
    if (raster.empty() && !needed) continue;
    if (raster.width() != a.width() || raster.height() != a.height()) {
      return misfit(name, "differs in size from light_a");
    }
    if (raster.type() != type) return misfit(name, "has the wrong kind of samples");
    if (&raster != &b && raster.channels() != Channels::grey) return misfit(name, "is not grey");
  }
  return std::nullopt;
}

SeamRoom seam_room(const SeamViews& views, int x) {
  const int height = views.state_a.height();
  SeamRoom room{height / 2, height / 2};
  for (int y = 0; y < height;) {
    if (!in_both(views, x, y)) {
      ++y;
      continue;
    }
    const int first = y;
    while (y < height && in_both(views, x, y)) ++y;
    if (y - first > room.bottom - room.top) room = {first, y};
  }
  return room;
}

}  // namespace seamwright
