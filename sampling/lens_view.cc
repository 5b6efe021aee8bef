#include "sampling/lens_view.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
#include <utility>

#include <fmt/format.h>

#include "base/parallel.h"

namespace seamwright {

namespace {

template <class T>
void take_row(std::span<const T> from, std::size_t step, std::size_t channel, float scale,
              bool encode, std::span<float> to) {
  for (std::size_t x = 0; x < to.size(); ++x) {
    const float code = static_cast<float>(from[x * step + channel]) * scale;
    to[x] = encode ? std::sqrt(std::max(code, 0.0F)) : code;
  }
}

}  // namespace

std::optional<Error> frames_mismatch(const Pictures& frames, const Rig& rig) {
  if (frames.size() != rig.lenses.size()) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "frames",
                 .what = fmt::format("{} frames for {} lenses", frames.size(), rig.lenses.size()),
                 .remedy = "give one frame a lens, lens 0 first"};
  }
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const Lens& lens = rig.lenses[i].lens;
    if (frames[i].width() == lens.width_px && frames[i].height() == lens.height_px) continue;
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = fmt::format("frames[{}]", i),
                 .what = fmt::format("{} x {} px, the lens is for {} x {}", frames[i].width(),
                                     frames[i].height(), lens.width_px, lens.height_px),
                 .remedy = "scale the rig to the frames, or give frames of the rig's size"};
  }
  return std::nullopt;
}

Image match_plane(const Image& frame) {
  Image plane(frame.width(), frame.height(), Channels::grey, SampleType::f32);
  const auto step = static_cast<std::size_t>(frame.channel_count());
  const std::size_t channel = step >= 3 ? 1 : 0;
  const bool encode = frame.transfer == Transfer::linear && frame.icc_profile.empty();
  parallel_for(0, frame.height(), [&](int y) {
    const auto to = plane.row<float>(y);
    switch (frame.type()) {
      case SampleType::u8:
        return take_row(frame.row<std::uint8_t>(y), step, channel, 1.0F / 255.0F, encode, to);
      case SampleType::u16:
        return take_row(frame.row<std::uint16_t>(y), step, channel, 1.0F / 65535.0F, encode, to);
      case SampleType::f32:
        return take_row(frame.row<float>(y), step, channel, 1.0F, encode, to);
    }
  });
  return plane;
}

LensView::LensView(const Image& grey, const MountedLens& lens, std::span<const PlaneLevel> all)
    : mounted(lens), field(grey, lens.lens) {
  assert(grey.width() == lens.lens.width_px && grey.height() == lens.lens.height_px);
  assert(!all.empty());
  for (const auto& [blur_px, step] : all) levels.emplace_back(grey, blur_px, step);
}

Result<std::vector<LensView>> views_of(const Pictures& frames, const Rig& rig) {
  if (auto error = frames_mismatch(frames, rig)) return fail(std::move(*error));
  if (auto error = rig.validate()) return fail(std::move(*error));
  std::vector<LensView> views;
  views.reserve(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i) {
    views.emplace_back(match_plane(frames[i]), rig.lenses[i]);
  }
  return views;
}

}  // namespace seamwright
