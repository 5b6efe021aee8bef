#include "jobs/shot/stitch_shot.h"

#include <algorithm>
#include <chrono>
#include <future>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "base/file_guard.h"
#include "compose/finish/glow.h"
#include "compose/render/layer_file.h"
#include "compose/render/panorama_file.h"
#include "compose/render/seam_plan.h"
#include "imaging/read_image.h"
#include "jobs/shot/ribbon_pictures.h"
#include "jobs/shot/shown_picture.h"
#include "jobs/shot/stitch_findings.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

/// What every step of one stitch reads.
struct Stitch {
  const Shot& shot;
  const StitchFiles& files;
  const ProgressFn& progress;
  const ShotPictures& pictures;
  const MadeFrom& made_from;
  Rig rig;  ///< the shot's, in the panorama's axes
  RenderOptions render;
};

std::optional<Error> check_wishes(const ShotWishes& wishes, const StitchFiles& files) {
  if (auto error = wishes.validate()) return error;
  if (wishes.seam != SeamKind::plain || files.save_ribbon.empty()) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = {},
               .field = "save_ribbon",
               .what = "there is no ribbon to save with plain seams",
               .remedy = "leave one of the two out"};
}

// By whatever name or link, also where no guard was told.
bool is_of_shot(const fs::path& file, const Shot& shot) {
  std::error_code code;
  const auto is_it = [&](const fs::path& other) { return fs::equivalent(file, other, code); };
  const std::vector<fs::path> all = shot.files.all();
  const std::vector<fs::path>& frames = shot.files.frames;
  return is_it(shot.body.file) || std::any_of(all.begin(), all.end(), is_it) ||
         std::any_of(frames.begin(), frames.end(), is_it);
}

// No output may be one of the shot's files.
std::optional<Error> check_outputs(const StitchFiles& files, const Shot& shot) {
  const std::pair<const char*, const fs::path&> outputs[] = {
      {"out", files.out}, {"jpeg", files.jpeg}, {"layers", files.layers}, {"light", files.light}};
  for (const auto& [field, file] : outputs) {
    if (file.empty()) continue;
    auto error = refusal_to_write(file);
    if (!error && is_of_shot(file, shot)) {
      error = Error{.where = file.string(),
                    .what = "is one of the files that this is made from",
                    .remedy = "give another name"};
    }
    if (!error) continue;
    error->field = field;
    return error;
  }
  return std::nullopt;
}

PanoramaFiles panorama_files(const Stitch& stitch) {
  const ShotWishes& wishes = stitch.shot.wishes;
  PanoramaFiles files;
  files.made_from = stitch.made_from;
  files.picture = stitch.files.out;
  if (!stitch.files.jpeg.empty()) files.jpeg = stitch.files.jpeg;
  files.tiff_compression = wishes.compression;
  files.jpeg_quality = wishes.jpeg_quality;
  files.jpeg_width_px = wishes.jpeg_width_px;
  files.heading_deg = wishes.level.compass_deg.value_or(0);
  files.keep_location = wishes.keep_location;
  return files;
}

// Names and numbers of the files, before the rendering that they need.
Result<PanoramaFiles> checked_panorama_files(const Stitch& stitch) {
  PanoramaFiles files = panorama_files(stitch);
  const auto shape = panorama_shape(stitch.rig, stitch.pictures.frames, stitch.render);
  if (!shape) return tl::unexpected(shape.error());
  if (auto error = check_panorama_files(files, shape->width_px)) return fail(std::move(*error));
  return files;
}

// A picture without upright edges stands as the body stood, and that is told.
Result<Levelled> level(const Shot& shot, const ShotPictures& pictures,
                       std::vector<std::string>& findings) {
  const LevelWish& wish = shot.wishes.level;
  const std::vector<UprightEdge>& marked = shot.edits().verticals;
  auto levelled = level_shot(wish, pictures.rig, pictures.frames, marked);
  if (levelled) return levelled;
  const bool looked_for = wish.upright == Upright::find && wish.edges.empty() && marked.empty();
  if (looked_for && levelled.error().kind == ErrorKind::numeric) {
    findings.push_back("it stands as the body stood: " + levelled.error().what +
                       "; mark an upright edge in the 'workbench', or give 'vertical' edges");
    LevelWish unlevelled = wish;
    unlevelled.upright = Upright::leave;
    return level_shot(unlevelled, pictures.rig, pictures.frames);
  }
  if (levelled.error().field.starts_with("verticals")) {
    levelled.error().where = shot.files.shot_file.string();
  }
  return levelled;
}

// What is asked of light that is not there.
std::optional<Error> check_light(const ShotPictures& pictures, const StitchFiles& files) {
  if (files.light.empty() || pictures.is_light) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = {},
               .field = "light",
               .what = "there is no light to keep: the shot has neither brackets nor linear frames",
               .remedy = "leave it out, or give all exposures of the shot"};
}

// Nothing where seams are to be plain.
Result<std::optional<SeamPlan>> plan(const Stitch& stitch, const Quat& turned_from_rig) {
  if (stitch.shot.wishes.seam == SeamKind::plain) return std::nullopt;
  SeamOptions seam = seam_options_of(stitch.shot);
  seam.keep_views = !stitch.files.save_ribbon.empty();
  for (SeamStroke& stroke : seam.strokes) {
    for (PanoramaPlace& place : stroke.path) place = place_of(turned_from_rig * place.direction());
  }
  auto planned = plan_seams(stitch.rig, stitch.pictures.frames, seam, stitch.progress);
  if (!planned) return tl::unexpected(planned.error());
  if (!stitch.files.save_ribbon.empty()) {
    const auto done = write_ribbon_pictures(*planned, stitch.files.save_ribbon);
    if (!done) return tl::unexpected(done.error());
  }
  return std::move(*planned);
}

// Where that is wanted, with the light that is to be shown or a panorama of codes.
Result<void> take_glow_off(const Stitch& stitch, Image& panorama, StitchReport& report) {
  if (stitch.shot.wishes.glow_removal == 0) return {};
  auto removal = remove_glow(panorama, stitch.shot.wishes.glow_removal);
  if (!removal) return tl::unexpected(removal.error());
  report.glow = std::move(removal->mask);
  return {};
}

// A panorama of light as a picture for displays, the stand hidden where that is wanted.
Result<Image> displayed(const Stitch& stitch, const fs::path& light_file, StitchReport& report) {
  auto light = read_image(light_file);
  if (!light) return tl::unexpected(light.error());
  if (auto done = take_glow_off(stitch, *light, report); !done) {
    return tl::unexpected(done.error());
  }
  const ShotWishes& wishes = stitch.shot.wishes;
  auto shown = shown_light(wishes, stitch.shot.files.bracketed(), *light, report.shown_by);
  if (!shown) return shown;
  if (wishes.cover.any()) {
    if (auto done = cover_stand(wishes.cover, *shown, report.findings); !done) {
      return tl::unexpected(done.error());
    }
  }
  return shown;
}

// The reader of light knows no OpenEXR: such a file is written from the light that was read.
bool is_exr(const fs::path& file) { return file.extension() == ".exr"; }

Result<void> write_light_as_exr(const Stitch& stitch, const fs::path& light_file,
                                PanoramaFiles files) {
  const auto light = read_image(light_file);
  if (!light) return tl::unexpected(light.error());
  files.picture = stitch.files.light;
  return write_panorama_image(*light, stitch.pictures.frames, files, stitch.progress);
}

// The panorama as light first, then for displays; the light is kept where that was asked for.
Result<RenderReport> write_from_light(const Stitch& stitch, StitchReport& report) {
  const auto files = checked_panorama_files(stitch);
  if (!files) return tl::unexpected(files.error());
  std::optional<HeldTemporary> scratch;
  PanoramaFiles of_light = *files;
  of_light.picture = stitch.files.light;
  of_light.jpeg.reset();
  if (stitch.files.light.empty() || is_exr(stitch.files.light)) {
    auto made_scratch = scratch_beside(stitch.files.out);
    if (!made_scratch) return tl::unexpected(made_scratch.error());
    scratch = std::move(*made_scratch);
    of_light.picture = scratch->path() / "light.tif";
  }
  const std::vector<Frame>& frames = stitch.pictures.frames;
  auto rendered = write_panorama(stitch.rig, frames, stitch.render, of_light, stitch.progress);
  if (!rendered) return rendered;
  if (is_exr(stitch.files.light)) {
    const auto done = write_light_as_exr(stitch, of_light.picture, of_light);
    if (!done) return tl::unexpected(done.error());
  }
  const auto shown = displayed(stitch, of_light.picture, report);
  if (!shown) return tl::unexpected(shown.error());
  if (auto done = write_panorama_image(*shown, frames, *files, stitch.progress); !done) {
    return tl::unexpected(done.error());
  }
  return rendered;
}

bool gets_look(const Stitch& stitch) {
  return frames_have_look(stitch.shot.wishes, stitch.pictures.frames.front().image.type());
}

// With its look and the stand hidden, in memory: the panorama is looked at as a whole.
Result<RenderReport> write_worked_on(const Stitch& stitch, StitchReport& report) {
  const auto files = checked_panorama_files(stitch);
  if (!files) return tl::unexpected(files.error());
  const std::vector<Frame>& frames = stitch.pictures.frames;
  auto panorama = render_panorama(stitch.rig, frames, stitch.render, stitch.progress);
  if (!panorama) return tl::unexpected(panorama.error());
  if (auto done = take_glow_off(stitch, panorama->image, report); !done) {
    return tl::unexpected(done.error());
  }
  const ShotWishes& wishes = stitch.shot.wishes;
  if (gets_look(stitch)) {
    if (auto done = give_look(wishes, panorama->image, report.shown_by); !done) {
      return tl::unexpected(done.error());
    }
  }
  if (wishes.cover.any()) {
    if (auto done = cover_stand(wishes.cover, panorama->image, report.findings); !done) {
      return tl::unexpected(done.error());
    }
  }
  const auto done = write_panorama_image(panorama->image, frames, *files, stitch.progress);
  if (!done) return tl::unexpected(done.error());
  return std::move(panorama->report);
}

Result<RenderReport> write_pictures(const Stitch& stitch, StitchReport& report) {
  if (stitch.pictures.is_light) return write_from_light(stitch, report);
  const ShotWishes& wishes = stitch.shot.wishes;
  if (wishes.cover.any() || wishes.glow_removal != 0 || gets_look(stitch)) {
    return write_worked_on(stitch, report);
  }
  return write_panorama(stitch.rig, stitch.pictures.frames, stitch.render, panorama_files(stitch),
                        stitch.progress);
}

// First what the frames say, then the rendering, the stand, the seams.
std::vector<std::string> all_findings(StitchReport& report, const CoverWish& cover,
                                      const std::optional<SeamPlan>& seams, bool gain_match) {
  std::vector<std::string> findings;
  const auto add = [&](const std::vector<std::string>& more) {
    findings.insert(findings.end(), more.begin(), more.end());
  };
  for (const MergeReport& merge : report.merges) {
    add(merge.findings());
    const auto notes = merge.notes();
    report.notes.insert(report.notes.end(), notes.begin(), notes.end());
  }
  add(findings_of(report.render, gain_match));
  add(report.findings);
  if (seams) {
    add_seam_findings(*seams, report.levelled.turned_from_source,
                      std::max(cover.cover_deg, cover.plate_deg), findings, report.notes);
  }
  return findings;
}

Result<StitchReport> stitch_pictures(Stitch stitch, const Levelled& levelled) {
  StitchReport report{.render = {},
                      .levelled = levelled,
                      .joined_pairs = {},
                      .brackets = stitch.pictures.brackets,
                      .merges = stitch.pictures.merges,
                      .shown_by = {},
                      .findings = {}};
  const auto seams = plan(stitch, levelled.turned_from_source);
  if (!seams) return tl::unexpected(seams.error());
  if (*seams) {
    stitch.render.seams = &**seams;
    report.joined_pairs = static_cast<int>((*seams)->pairs.size());
  }
  auto rendered = write_pictures(stitch, report);
  if (!rendered) return tl::unexpected(rendered.error());
  report.render = std::move(*rendered);
  if (!stitch.files.layers.empty()) {
    std::vector<MadePage> more;
    if (!report.glow.empty()) more.push_back({"glow", report.glow});
    const auto layers =
        write_layers(stitch.rig, stitch.pictures.frames, stitch.render, stitch.files.layers,
                     stitch.shot.wishes.compression, stitch.progress, more);
    if (!layers) return tl::unexpected(layers.error());
  }
  report.findings =
      all_findings(report, stitch.shot.wishes.cover, *seams, stitch.render.gain_match);
  return report;
}

// Terms of the template that a touch moves, one a line.
std::vector<std::string> lines_of(const ShotTouch& touch) {
  std::vector<std::string> lines;
  for (std::size_t i = 0; i < touch.names.size(); ++i) {
    if (touch.step[i] != 0) lines.push_back(fmt::format("{} {}", touch.names[i], touch.step[i]));
  }
  return lines;
}

/// The quick test of a shot, and what becomes of it.
struct Tested {
  ShotFit fit;
  bool touched = false;
  double seconds = 0;

  [[nodiscard]] bool is_finding() const { return !touched && fit.verdict != FitVerdict::fits; }
  [[nodiscard]] std::string line() const {
    return touched ? fit.words + ", and touched; " + fit.remedy : fit.words + "; " + fit.remedy;
  }
};

Result<Tested> test_fit(const Shot& shot, const ShotPictures& pictures, const FitTold& told) {
  const auto begin = std::chrono::steady_clock::now();
  auto fit = fit_shot(shot.touched_template(), pictures.frames);
  if (!fit) return tl::unexpected(fit.error());
  Tested tested{.fit = std::move(*fit)};
  tested.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  tested.touched =
      tested.fit.verdict == FitVerdict::knocked && shot.wishes.touch_knocked && !shot.edits().touch;
  if (told) told(tested.fit);
  if (tested.fit.verdict == FitVerdict::refused && !shot.wishes.anyway) {
    return fail(refusal_of(tested.fit, shot.name()));
  }
  return tested;
}

// With the touch of the quick test, where there is one.
void take_touch(const Tested& tested, Shot& shot, ShotPictures& pictures, MadeFrom& made_from) {
  if (!tested.touched) return;
  const Image& first = pictures.frames.front().image;
  shot.rig = *tested.fit.touched_rig;
  pictures.rig = shot.rig.scaled_to(first.width(), first.height());
  made_from.touch = lines_of(*tested.fit.touch);
}

}  // namespace

Result<StitchReport> stitch_shot(const Shot& given, const StitchFiles& files,
                                 const ProgressFn& progress, const FitTold& fit_told) {
  if (auto error = check_wishes(given.wishes, files)) return fail(std::move(*error));
  if (auto error = check_outputs(files, given)) return fail(std::move(*error));
  // Hashing files takes as long as reading them: both at once.
  auto hashed = std::async(std::launch::async, [&] { return provenance_of(given); });
  auto pictures = read_pictures(given, Exposures::all, progress);
  auto made_from = hashed.get();
  if (!made_from) return tl::unexpected(made_from.error());
  if (!pictures) return tl::unexpected(pictures.error());
  if (auto error = check_light(*pictures, files)) return fail(std::move(*error));
  const auto tested = test_fit(given, *pictures, fit_told);
  if (!tested) return tl::unexpected(tested.error());
  Shot shot = given;
  take_touch(*tested, shot, *pictures, *made_from);
  const RenderOptions render = shot.wishes.render_options();
  std::vector<std::string> first_findings;
  if (tested->is_finding()) first_findings.push_back(tested->line());
  if (const std::string& other = tested->fit.other_serial; !other.empty()) {
    first_findings.push_back(fmt::format("{}; {}", other, kOtherSerialRemedy));
  }
  const auto levelled = level(shot, *pictures, first_findings);
  if (!levelled) return tl::unexpected(levelled.error());
  auto report = stitch_pictures({.shot = shot,
                                 .files = files,
                                 .progress = progress,
                                 .pictures = *pictures,
                                 .made_from = *made_from,
                                 // Rendering from turned axes turns the panorama without
                                 // resampling it.
                                 .rig = turned(shot.rig, levelled->turned_from_source),
                                 .render = render},
                                *levelled);
  if (!report) return report;
  report->findings.insert(report->findings.begin(), first_findings.begin(), first_findings.end());
  if (tested->touched) report->notes.push_back(tested->line());
  report->fit = tested->fit;
  report->fit_s = tested->seconds;
  return report;
}

}  // namespace seamwright
