#include "apps/cli/stitch_report.h"

#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/level_options.h"
#include "apps/cli/look_options.h"
#include "apps/cli/merge_report.h"

namespace seamwright {

namespace {

void tell_merged(const Console& console, const StitchReport& report) {
  if (report.merges.empty()) return;
  console.say(bracket_table(report.brackets.frames, {report.brackets.series}));
  for (const MergeReport& merge : report.merges) {
    for (const std::string& line : merge_lines(merge)) console.say(line);
  }
  if (!report.shown_by.curve) return;
  const DisplayCurve& curve = *report.shown_by.curve;
  console.say(fmt::format("shown with {:+.2f} EV, white at {:+.2f} EV above full code",
                          std::log2(curve.gain), std::log2(curve.brightest / curve.gain)));
}

void tell_rendered(const Console& console, const StitchFiles& files, const RenderReport& render,
                   bool matched) {
  console.say(fmt::format("{}: {} x {} px", files.out.string(), render.width_px, render.height_px));
  if (render.beyond_native()) {
    console.say(fmt::format("the lenses resolve {} px around; wider holds no more detail",
                            render.native_width_px));
  }
  if (!matched) return;
  for (std::size_t i = 0; i < render.gains.gains.size(); ++i) {
    const ChannelGains& gain = render.gains.gains[i];
    console.say(fmt::format("lens {}: gain {:+.2f} {:+.2f} {:+.2f} EV (red green blue)", i,
                            std::log2(gain[0]), std::log2(gain[1]), std::log2(gain[2])));
  }
}

nlohmann::json pairs_json(const GainMatch& gains) {
  nlohmann::json pairs = nlohmann::json::array();
  for (const PairGain& pair : gains.pairs) {
    pairs.push_back({{"lens_a", pair.lens_a},
                     {"lens_b", pair.lens_b},
                     {"patches", pair.patches},
                     {"ratio_ev", pair.ratio_ev},
                     {"spread_ev", pair.spread_ev}});
  }
  return pairs;
}

// What the quick test measured; pixels of the frames.
nlohmann::json fit_json(const StitchReport& report) {
  const ShotFit& fit = report.fit;
  return {{"verdict", name_of(fit.verdict)},
          {"cause", name_of(fit.cause)},
          {"ties", fit.ties},
          {"matched", fit.matched},
          {"agreed", fit.agreed},
          {"p95_px", fit.p95_px},
          {"sigma_px", fit.sigma_px},
          {"left_px", fit.left_px},
          {"knock_deg", fit.knock_deg},
          {"seconds", report.fit_s}};
}

}  // namespace

void tell_stitched(const Console& console, const ShotWishes& wishes, const StitchFiles& files,
                   const StitchReport& report) {
  tell_merged(console, report);
  tell_rendered(console, files, report.render, wishes.gain_match);
  const auto& look = report.shown_by.look;
  if (look) console.say("shown with " + look_words(*look));
  tell_level(console, report.levelled);
  if (report.joined_pairs == 0) {
    console.say("no two lenses overlap enough for depth seams: joined as if everything were far");
  }
  for (const std::string& note : report.notes) console.say("note: " + console.in_words(note));
  for (const std::string& finding : report.findings) {
    console.say("finding: " + console.in_words(finding));
  }
}

nlohmann::json stitched_as_json(const Console& console, const ShotWishes& wishes,
                                const StitchFiles& files, const StitchReport& report) {
  const RenderReport& render = report.render;
  nlohmann::json object = {
      {"command", "stitch"},
      {"panorama", files.out.string()},
      {"width_px", render.width_px},
      {"height_px", render.height_px},
      {"native_width_px", render.native_width_px},
      {"beyond_native", render.beyond_native()},
      {"unseen_px", render.unseen_px},
      {"seam", kSeamNames[static_cast<std::size_t>(wishes.seam)]},
      {"gain_match", wishes.gain_match},
      {"gains", render.gains.gains},
      {"gain_pairs", pairs_json(render.gains)},
      {"fit", fit_json(report)},
      {"notes", console.in_words(report.notes)},
      {"findings", console.in_words(report.findings)},
  };
  const auto& look = report.shown_by.look;
  if (look) object["look"] = look_json(*look);
  if (!files.jpeg.empty()) object["jpeg"] = files.jpeg.string();
  if (!files.layers.empty()) object["layers"] = files.layers.string();
  for (const MergeReport& merge : report.merges) object["brackets"].push_back(merge_json(merge));
  if (wishes.level.turns() || report.levelled.vertical) {
    object["level"] = level_json(wishes.level, report.levelled);
  }
  return object;
}

}  // namespace seamwright
