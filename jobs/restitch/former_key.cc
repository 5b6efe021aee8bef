#include "jobs/restitch/former_key.h"

#include <fmt/format.h>

#include "jobs/shot/shot_key.h"

namespace seamwright {

namespace {

// The wishes that `restitch` could be told, as they are made.
ShotWishes without_known(ShotWishes wishes) {
  const ShotWishes usual;
  wishes.width_px = usual.width_px;
  wishes.seam = usual.seam;
  wishes.compression = usual.compression;
  wishes.jpeg_quality = usual.jpeg_quality;
  wishes.jpeg_width_px = usual.jpeg_width_px;
  wishes.level.upright = usual.level.upright;
  wishes.keep_location = usual.keep_location;
  if (wishes.look.match == LookMatch::off) wishes.look = usual.look;
  return wishes;
}

}  // namespace

std::vector<std::string> former_key_texts(const ShotFiles& files, const ShotWishes& wishes,
                                          const GroupingOptions& grouping, bool jpeg) {
  if (!text_of(without_known(wishes)).empty()) return {};
  if (has_look(wishes.look, files.bracketed())) return {};
  const std::string width =
      wishes.width_px == 0 ? std::string("native") : fmt::format("{}", wishes.width_px);
  std::string text = fmt::format(
      "seamwright {} width={} seam={} compression={} kernel=catmull-rom jpeg={} quality={} "
      "jpeg_width={} level={} cover=0 strip_location={} pattern={} gap_s={} frames_per_shot={} "
      "allow_missing={}{}",
      SEAMWRIGHT_VERSION, width, kSeamNames[static_cast<std::size_t>(wishes.seam)],
      kCompressionNames[static_cast<std::size_t>(wishes.compression)], jpeg, wishes.jpeg_quality,
      wishes.jpeg_width_px, wishes.level.upright == Upright::find, !wishes.keep_location,
      grouping.pattern ? grouping.pattern->text() : std::string(), grouping.rest_s,
      grouping.frames_per_shot, grouping.allow_missing,
      wishes.level.upright == Upright::leave ? " no_level=true" : "");
  if (files.bracketed()) text += " display_curve=2";
  return {std::move(text)};
}

}  // namespace seamwright
