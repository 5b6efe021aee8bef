#include "apps/cli/bracket_options.h"

namespace seamwright {

void BracketOptions::add_to(CLI::App& command) {
  command.add_option("--pattern", pattern,
                     "Regular expression over file names with named groups shot, lens, ev, frame; "
                     "overrides EXIF, e.g. '(?<shot>.+)_(?<lens>front|back)_(?<ev>[-+]\\d)\\.tif'");
  command.add_option("--rest-s", grouping.rest_s, "Rest between two shots, seconds")
      ->capture_default_str();
  command.add_option("--frames-per-shot", grouping.frames_per_shot,
                     "Frames of each lens in each shot, where there is no rest between shots");
  command.add_flag("--allow-missing", grouping.allow_missing,
                   "Take series that lack a step which the others have");
  command.add_option("--clip-level", merge.clip_level, "Signal that counts as clipped, of 1")
      ->capture_default_str();
  command
      .add_option("--noise", noise,
                  "Shot noise (variance per signal) and read noise (variance) of a frame, full "
                  "code 1; fitted from the frames where not given")
      ->expected(2);
  command.add_flag("--stand-still", stand_still, "The stand did not move between exposures");
  command.add_flag("--no-motion", no_motion, "Nothing moved: average all frames everywhere");
}

Result<GroupingOptions> BracketOptions::grouping_options() const {
  GroupingOptions options = grouping;
  if (!pattern.empty()) {
    auto parsed = FramePattern::parse(pattern);
    if (!parsed) return tl::unexpected(parsed.error());
    options.pattern = std::move(*parsed);
  }
  if (auto error = options.validate()) return fail(std::move(*error));
  return options;
}

Result<MergeOptions> BracketOptions::merge_options() const {
  MergeOptions options = merge;
  options.align = !stand_still;
  options.resolve_motion = !no_motion;
  if (noise.size() == 2) {
    NoiseModel model;
    model.shot.fill(noise[0]);
    model.read.fill(noise[1]);
    options.noise = model;
  }
  if (auto error = options.validate()) return fail(std::move(*error));
  return options;
}

void add_tone_options(CLI::App& command, ToneWish& wish) {
  command
      .add_option("--brighter-ev", wish.brighter_ev,
                  "How much brighter the display picture is to be than what is found, stops")
      ->check(CLI::Range(-8.0, 8.0))
      ->capture_default_str();
  command
      .add_option("--local", wish.local,
                  "Level large differences of light in the display picture: 0 none to 1")
      ->check(CLI::Range(0.0, 1.0))
      ->capture_default_str();
}

}  // namespace seamwright
