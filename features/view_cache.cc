#include "features/view_cache.h"

#include <algorithm>
#include <iterator>
#include <utility>

namespace seamwright {

namespace {

std::size_t bytes_of(const std::vector<LensView>& views) {
  std::size_t samples = 0;
  for (const LensView& view : views) {
    const auto frame = static_cast<std::size_t>(view.mounted.lens.width_px) *
                       static_cast<std::size_t>(view.mounted.lens.height_px);
    for (const SplinePlane& plane : view.levels) {
      samples += frame / static_cast<std::size_t>(plane.step() * plane.step());
    }
  }
  return samples * sizeof(float);
}

}  // namespace

ViewCache::ViewCache(FrameSource frames, const Rig& rig, std::size_t most_bytes)
    : frames_(std::move(frames)), rig_(rig), most_bytes_(most_bytes) {}

Result<ViewCache::Views> ViewCache::of(int shot) {
  const auto known = std::find_if(entries_.begin(), entries_.end(),
                                  [&](const Entry& entry) { return entry.shot == shot; });
  if (known != entries_.end()) {
    entries_.splice(entries_.begin(), entries_, known);
    return entries_.front().views;
  }
  const auto frames = frames_(shot);
  if (!frames) return tl::make_unexpected(frames.error());
  auto views = views_of(*frames, rig_);
  if (!views) return tl::make_unexpected(views.error());
  entries_.push_front({shot, std::make_shared<const std::vector<LensView>>(std::move(*views))});
  const std::size_t each = bytes_of(*entries_.front().views);
  const std::size_t room = std::max<std::size_t>(2, most_bytes_ / std::max<std::size_t>(each, 1));
  while (entries_.size() > room) entries_.pop_back();
  return entries_.front().views;
}

}  // namespace seamwright
