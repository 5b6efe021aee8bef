#include "apps/cli/stitch_job.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <future>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/bracketed_shot.h"
#include "apps/cli/ribbon_pictures.h"
#include "apps/cli/shot_template.h"
#include "apps/cli/stitch_findings.h"
#include "base/file.h"
#include "compose/render/layer_file.h"
#include "compose/render/panorama_file.h"
#include "compose/render/seam_plan.h"
#include "imaging/read_image.h"
#include "jobs/brackets/frame_list.h"
#include "templates/shot_file.h"

namespace seamwright {

namespace {

Result<int> width_of(const std::string& text) {
  if (text == "native") return 0;
  int width = 0;
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), width);
  if (code != std::errc{} || end != text.data() + text.size() || width <= 0) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--width",
                 .what = fmt::format("'{}' is not a width", text),
                 .remedy = "give an even number of pixels, or native"});
  }
  return width;
}

Result<RenderOptions> render_options(const StitchOptions& options) {
  if (options.seam == "plain" && !options.save_ribbon.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--save-ribbon",
                 .what = "there is no ribbon to save with plain seams",
                 .remedy = "leave one of --save-ribbon and --seam plain out"});
  }
  const auto width = width_of(options.width);
  if (!width) return tl::unexpected(width.error());
  const RenderOptions render{
      .width_px = *width,
      .kernel =
          options.kernel == "lanczos-3" ? ResampleKernel::lanczos3 : ResampleKernel::catmull_rom,
      .gain_match = !options.no_gain_match,
      .blend_half_width_deg = options.blend_half_width_deg,
  };
  if (auto error = render.validate()) return fail(std::move(*error));
  return render;
}

PanoramaFiles panorama_files(const StitchOptions& options, const MadeFrom& made) {
  PanoramaFiles files;
  files.made_from = made;
  files.picture = options.out;
  if (!options.jpeg.empty()) files.jpeg = options.jpeg;
  if (options.compression == "deflate") files.tiff_compression = TiffCompression::deflate;
  if (options.compression == "lzw") files.tiff_compression = TiffCompression::lzw;
  files.jpeg_quality = options.jpeg_quality;
  files.jpeg_width_px = options.jpeg_width;
  files.heading_deg = options.level.compass_deg.value_or(0);
  files.keep_location = !options.strip_location;
  return files;
}

/// The files of a shot by name: frames, or all their exposures, and the shot file.
Result<MadeFrom> made_from(const StitchOptions& options, const ShotInput& shot,
                           const std::string& template_sha256) {
  MadeFrom made{
      .program = "Seamwright " SEAMWRIGHT_VERSION, .template_sha256 = template_sha256, .files = {}};
  std::vector<std::filesystem::path> files = shot.exposures.empty() ? shot.files : shot.exposures;
  if (options.frames.size() == 1 && is_yaml(options.frames.front())) {
    files.emplace_back(options.frames.front());
  }
  for (const std::filesystem::path& file : files) {
    std::error_code code;
    const auto inside = std::filesystem::is_directory(file, code)
                            ? pictures_in(file)
                            : Result<std::vector<std::filesystem::path>>({file});
    if (!inside) return tl::unexpected(inside.error());
    for (const std::filesystem::path& one : *inside) {
      auto hash = sha256_of_file(one);
      if (!hash) return tl::unexpected(hash.error());
      made.files.push_back({one.filename().string(), std::move(*hash)});
    }
  }
  std::sort(made.files.begin(), made.files.end(),
            [](const MadeFromFile& a, const MadeFromFile& b) { return a.name < b.name; });
  return made;
}

// The files of a shot are known now: no output may be one of them.
Result<void> check_shot_outputs(const StitchOptions& options, const ShotInput& shot) {
  for (const auto& file : shot.files) note_read(file);
  for (const auto& file : shot.exposures) note_read(file);
  const std::pair<const char*, std::string> outputs[] = {{"--out", options.out},
                                                         {"--jpeg", options.jpeg},
                                                         {"--layers", options.layers},
                                                         {"--light", options.light}};
  for (const auto& [option, file] : outputs) {
    if (file.empty()) continue;
    if (auto error = refusal_to_write(file)) {
      error->field = option;
      return fail(std::move(*error));
    }
  }
  return {};
}

void tell_people(const Console& console, const StitchOptions& options, const RenderReport& report) {
  console.say(fmt::format("{}: {} x {} px", options.out, report.width_px, report.height_px));
  if (report.beyond_native()) {
    console.say(fmt::format("the lenses resolve {} px around; wider holds no more detail",
                            report.native_width_px));
  }
  if (options.no_gain_match) return;
  for (std::size_t i = 0; i < report.gains.gains.size(); ++i) {
    const ChannelGains& gain = report.gains.gains[i];
    console.say(fmt::format("lens {}: gain {:+.2f} {:+.2f} {:+.2f} EV (red green blue)", i,
                            std::log2(gain[0]), std::log2(gain[1]), std::log2(gain[2])));
  }
}

nlohmann::json as_json(const StitchOptions& options, const RenderReport& report,
                       const std::vector<std::string>& findings) {
  nlohmann::json pairs = nlohmann::json::array();
  for (const PairGain& pair : report.gains.pairs) {
    pairs.push_back({{"lens_a", pair.lens_a},
                     {"lens_b", pair.lens_b},
                     {"patches", pair.patches},
                     {"ratio_ev", pair.ratio_ev},
                     {"spread_ev", pair.spread_ev}});
  }
  nlohmann::json object = {
      {"command", "stitch"},
      {"panorama", options.out},
      {"width_px", report.width_px},
      {"height_px", report.height_px},
      {"native_width_px", report.native_width_px},
      {"beyond_native", report.beyond_native()},
      {"unseen_px", report.unseen_px},
      {"seam", options.seam},
      {"gain_match", !options.no_gain_match},
      {"gains", report.gains.gains},
      {"gain_pairs", pairs},
      {"findings", findings},
  };
  if (!options.jpeg.empty()) object["jpeg"] = options.jpeg;
  if (!options.layers.empty()) object["layers"] = options.layers;
  return object;
}

// The rig of this shot: the template's, with the shot file's touch where there is one.
Result<Rig> shot_rig(const ShotTemplate& opened) {
  const Rig& rig = opened.rig_template.rig();
  if (!opened.shot || !opened.shot->touch) return rig;
  return touched_rig(rig, *opened.shot->touch);
}

std::span<const UprightEdge> marked_edges(const ShotTemplate& opened) {
  if (!opened.shot) return {};
  return opened.shot->verticals;
}

// Nothing where seams are to be plain.
Result<std::optional<SeamPlan>> plan(const Rig& rig, const std::vector<Frame>& frames,
                                     const std::optional<ShotFile>& shot, const Quat& turn,
                                     const RenderOptions& render, const StitchOptions& options,
                                     const Console& console) {
  if (options.seam == "plain") return std::nullopt;
  SeamOptions seam = shot ? seam_options_of(*shot) : SeamOptions{};
  seam.gain_match = render.gain_match;
  seam.keep_views = !options.save_ribbon.empty();
  for (SeamStroke& stroke : seam.strokes) {
    for (PanoramaPlace& place : stroke.path) place = place_of(turn * place.direction());
  }
  auto planned = plan_seams(rig, frames, seam, console.progress());
  if (!planned) return tl::unexpected(planned.error());
  if (!options.save_ribbon.empty()) {
    if (auto done = write_ribbon_pictures(*planned, options.save_ribbon); !done) {
      return tl::unexpected(done.error());
    }
  }
  return std::move(*planned);
}

/// What is stitched: frames as they are in their files, or light merged from brackets.
struct ReadFrames {
  std::vector<Frame> frames;
  bool is_light = false;
  std::vector<std::string> findings = {};
  nlohmann::json report = {};
};

Result<ReadFrames> read_frames(const StitchOptions& options, const ShotInput& shot,
                               const std::optional<ShotFile>& shot_file, int lens_count,
                               const Console& console) {
  const bool written_down = shot_file && !shot_file->brackets.empty();
  if (!written_down && (shot_file || !is_bracketed(options.frames, shot.intake, lens_count))) {
    auto frames = read_shot(shot.files, shot.intake);
    if (!frames) return tl::unexpected(frames.error());
    return ReadFrames{.frames = std::move(*frames)};
  }
  auto merged = written_down ? read_bracketed_shot(options.frames.front(), shot.intake, *shot_file,
                                                   options.brackets, console)
                             : read_bracketed_shot(options.frames, shot.intake, lens_count,
                                                   options.brackets, console);
  if (!merged) return tl::unexpected(merged.error());
  return ReadFrames{.frames = std::move(merged->frames),
                    .is_light = true,
                    .findings = std::move(merged->findings),
                    .report = std::move(merged->report)};
}

// A panorama of light as a picture for displays, the stand hidden where that is wanted.
Result<Image> displayed(const std::filesystem::path& light_file, const StitchOptions& options,
                        std::vector<std::string>& findings, const Console& console) {
  const auto light = read_image(light_file);
  if (!light) return tl::unexpected(light.error());
  const DisplayOptions display = options.tone.display_options({&*light});
  auto shown = for_display(*light, display);
  if (!shown) return shown;
  if (options.cover.any()) {
    if (auto done = cover_stand(options.cover, *shown, findings); !done) {
      return tl::unexpected(done.error());
    }
  }
  const DisplayCurve& curve = display.curve;
  console.say(fmt::format("shown with {:+.2f} EV, white at {:+.2f} EV above full code",
                          std::log2(curve.gain), std::log2(curve.brightest / curve.gain)));
  return shown;
}

// The panorama as light first, then for displays; the light is kept where that was asked for.
Result<RenderReport> write_from_light(const Rig& rig, const std::vector<Frame>& frames,
                                      const RenderOptions& render, const StitchOptions& options,
                                      const MadeFrom& made, std::vector<std::string>& findings,
                                      const Console& console) {
  const PanoramaFiles files = panorama_files(options, made);
  const auto shape = panorama_shape(rig, frames, render);
  if (!shape) return tl::unexpected(shape.error());
  if (auto error = check_panorama_files(files, shape->width_px)) return fail(std::move(*error));
  std::optional<HeldTemporary> scratch;
  PanoramaFiles of_light = files;
  of_light.picture = options.light;
  of_light.jpeg.reset();
  if (options.light.empty()) {
    auto made_scratch = scratch_beside(options.out);
    if (!made_scratch) return tl::unexpected(made_scratch.error());
    scratch = std::move(*made_scratch);
    of_light.picture = scratch->path() / "light.tif";
  }
  auto report = write_panorama(rig, frames, render, of_light, console.progress());
  if (!report) return report;
  const auto shown = displayed(of_light.picture, options, findings, console);
  if (!shown) return tl::unexpected(shown.error());
  if (auto done = write_panorama_image(*shown, frames, files, console.progress()); !done) {
    return tl::unexpected(done.error());
  }
  return report;
}

// With the stand hidden, in memory: the floor is looked at as a whole.
Result<RenderReport> write_covered(const Rig& rig, const std::vector<Frame>& frames,
                                   const RenderOptions& render, const StitchOptions& options,
                                   const MadeFrom& made, std::vector<std::string>& findings,
                                   const Console& console) {
  const PanoramaFiles files = panorama_files(options, made);
  const auto shape = panorama_shape(rig, frames, render);
  if (!shape) return tl::unexpected(shape.error());
  if (auto error = check_panorama_files(files, shape->width_px)) return fail(std::move(*error));
  auto panorama = render_panorama(rig, frames, render, console.progress());
  if (!panorama) return tl::unexpected(panorama.error());
  if (auto done = cover_stand(options.cover, panorama->image, findings); !done) {
    return tl::unexpected(done.error());
  }
  const auto done = write_panorama_image(panorama->image, frames, files, console.progress());
  if (!done) return tl::unexpected(done.error());
  return std::move(panorama->report);
}

}  // namespace

Result<std::vector<std::string>> stitch_shot(const StitchOptions& options, const Console& console) {
  if (auto error = options.level.validate()) return fail(std::move(*error));
  if (auto error = options.cover.validate()) return fail(std::move(*error));
  auto render = render_options(options);
  if (!render) return tl::unexpected(render.error());
  const auto opened = open_shot_template(options.template_file, options.frames);
  if (!opened) return tl::unexpected(opened.error());
  auto rig = shot_rig(*opened);
  if (!rig) {
    rig.error().where = options.frames.front();
    return tl::unexpected(rig.error());
  }
  IntakeOptions intake = options.intake;
  intake.mirrored = intake.mirrored || opened->rig_template.mirrored;
  const auto shot = open_shot_input(options.frames, intake, rig->lens_count(), true);
  if (!shot) return tl::unexpected(shot.error());
  if (auto free = check_shot_outputs(options, *shot); !free) return tl::unexpected(free.error());
  // Hashing files takes as long as reading them: both at once.
  auto hashed =
      std::async(std::launch::async, [&] { return made_from(options, *shot, opened->sha256); });
  const auto read = read_frames(options, *shot, opened->shot, rig->lens_count(), console);
  const auto made_of = hashed.get();
  if (!made_of) return tl::unexpected(made_of.error());
  if (!read) return tl::unexpected(read.error());
  const std::vector<Frame>* const frames = &read->frames;
  if (const auto shape = panorama_shape(*rig, *frames, *render); !shape) {
    return tl::unexpected(shape.error());
  }
  auto levelled = level_shot(options.level, *rig, *frames, marked_edges(*opened));
  if (!levelled) {
    if (levelled.error().field.starts_with("verticals")) {  // of the shot file
      levelled.error().where = options.frames.front();
    }
    return tl::unexpected(levelled.error());
  }
  // Rendering from turned axes turns the panorama without another resampling.
  *rig = turned(*rig, levelled->turned_from_source);

  auto seams =
      plan(*rig, *frames, opened->shot, levelled->turned_from_source, *render, options, console);
  if (!seams) return tl::unexpected(seams.error());
  if (*seams) render->seams = &**seams;
  std::vector<std::string> cover_findings;
  const auto written = [&]() -> Result<RenderReport> {
    if (read->is_light)
      return write_from_light(*rig, *frames, *render, options, *made_of, cover_findings, console);
    if (options.cover.any()) {
      return write_covered(*rig, *frames, *render, options, *made_of, cover_findings, console);
    }
    return write_panorama(*rig, *frames, *render, panorama_files(options, *made_of),
                          console.progress());
  };
  const auto report = written();
  if (!report) return tl::unexpected(report.error());
  if (!options.layers.empty()) {
    const auto layers =
        write_layers(*rig, *frames, *render, options.layers,
                     panorama_files(options, *made_of).tiff_compression, console.progress());
    if (!layers) return tl::unexpected(layers.error());
  }
  auto findings = findings_of(*report, render->gain_match);
  findings.insert(findings.begin(), read->findings.begin(), read->findings.end());
  findings.insert(findings.end(), cover_findings.begin(), cover_findings.end());
  if (*seams) add_seam_findings(**seams, levelled->turned_from_source, findings);
  tell_people(console, options, *report);
  tell_level(console, *levelled);
  if (*seams && (*seams)->pairs.empty()) {
    console.say("no two lenses overlap enough for depth seams: joined as if everything were far");
  }
  for (const std::string& finding : findings) console.say("finding: " + finding);
  if (console.json()) {
    nlohmann::json answer = as_json(options, *report, findings);
    if (read->is_light) answer["brackets"] = read->report;
    if (options.level.turns() || levelled->vertical)
      answer["level"] = level_json(options.level, *levelled);
    console.answer(answer);
  }
  return findings;
}

}  // namespace seamwright
