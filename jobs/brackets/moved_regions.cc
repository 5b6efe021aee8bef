#include "jobs/brackets/moved_regions.h"

#include <algorithm>
#include <map>

#include "jobs/brackets/connected.h"
#include "jobs/brackets/plane.h"
#include "jobs/brackets/usable.h"

namespace seamwright {
namespace {

constexpr int kGrow_px = 4;
constexpr int kLead_px = 4;
constexpr double kMostClipped = 0.001;

Mask any_difference(std::span<const Exposed> frames, const NoiseModel& noise,
                    const ConsistencyOptions& options) {
  Mask any(frames.front().image.width(), frames.front().image.height());
  for (std::size_t i = 1; i < frames.size(); ++i) {
    const Mask mask = inconsistent_pixels(frames[i - 1], frames[i], noise, options);
    for (std::size_t k = 0; k < any.values.size(); ++k) {
      any.values[k] = std::max(any.values[k], mask.values[k]);
    }
  }
  return any;
}

/// Per region: how many pixels of `mask` lie in it.
std::vector<int> counted_in(const Regions& regions, const Mask& mask) {
  std::vector<int> counts(regions.size_px.size(), 0);
  for (std::size_t i = 0; i < mask.values.size(); ++i) {
    if (mask.values[i] != 0) ++counts[static_cast<std::size_t>(regions.label.values[i])];
  }
  return counts;
}

/// Frame indices in the order in which they may give a region its moment.
std::vector<int> preference(int frame_count, int reference) {
  std::vector<int> order{reference};
  for (int i = frame_count - 1; i >= 0; --i) {
    if (i < reference) order.push_back(i);
  }
  return order;
}

std::vector<int> choose_moments(std::span<const Exposed> frames, const Regions& regions,
                                const Mask& core, int reference, double clip_level) {
  std::vector<int> chosen(regions.size_px.size(), -1);
  const std::vector<int> core_px = counted_in(regions, core);
  for (const int frame : preference(static_cast<int>(frames.size()), reference)) {
    Mask clipped = clipped_pixels(frames[static_cast<std::size_t>(frame)], clip_level);
    for (std::size_t i = 0; i < clipped.values.size(); ++i) {
      clipped.values[i] = std::min(clipped.values[i], core.values[i]);
    }
    const std::vector<int> counts = counted_in(regions, clipped);
    for (std::size_t k = 1; k < chosen.size(); ++k) {
      if (chosen[k] < 0 && counts[k] <= kMostClipped * core_px[k]) chosen[k] = frame;
    }
  }
  // Clipped in all of them.
  std::replace(chosen.begin(), chosen.end(), -1, 0);
  return chosen;
}

void find_joined(std::span<const Exposed> frames, const Regions& regions, const NoiseModel& noise,
                 const ConsistencyOptions& options, std::vector<MovedRegion>& out) {
  std::map<int, std::vector<std::size_t>> by_frame;
  for (std::size_t k = 0; k < out.size(); ++k) {
    out[k].joined.assign(frames.size(), 0);
    by_frame[out[k].frame].push_back(k);
  }
  for (const auto& [frame, members] : by_frame) {
    for (std::size_t other = 0; other < frames.size(); ++other) {
      const auto kept = static_cast<std::size_t>(frame);
      if (other == kept) {
        for (const std::size_t k : members) out[k].joined[other] = 1;
        continue;
      }
      const Mask mask = inconsistent_pixels(frames[std::min(kept, other)],
                                            frames[std::max(kept, other)], noise, options);
      const std::vector<int> counts = counted_in(regions, mask);
      for (const std::size_t k : members) out[k].joined[other] = counts[k + 1] == 0 ? 1 : 0;
    }
  }
}

}  // namespace

MovedRegions find_moved_regions(std::span<const Exposed> frames, int reference,
                                const NoiseModel& noise, const ConsistencyOptions& options) {
  const Mask core = grown(any_difference(frames, noise, options), kGrow_px);
  const Mask distance = distance_to(core, kLead_px);
  Mask whole(core.width, core.height);
  MovedRegions moved{.label = {}, .kept = whole, .regions = {}};
  for (std::size_t i = 0; i < distance.values.size(); ++i) {
    const int away = distance.values[i];
    whole.values[i] = away < kLead_px ? 255 : 0;
    moved.kept.values[i] = static_cast<std::uint8_t>(255 * (kLead_px - away) / kLead_px);
  }
  Regions regions = connected_regions(whole);
  const std::vector<int> chosen =
      choose_moments(frames, regions, core, reference, options.clip_level);
  for (std::size_t k = 1; k < chosen.size(); ++k) {
    moved.regions.push_back({.size_px = regions.size_px[k], .frame = chosen[k], .joined = {}});
  }
  find_joined(frames, regions, noise, options, moved.regions);
  moved.label = std::move(regions.label);
  return moved;
}

}  // namespace seamwright
