#include "jobs/shot/touch_shot.h"

#include <chrono>
#include <cmath>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "features/ties.h"
#include "jobs/shot/open_shot.h"
#include "templates/frame_scale.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// Every sight of a hand must lie where its lens sees; said in the frame's pixels.
std::optional<Error> check_sights(const Rig& rig, const std::vector<ManualTie>& ties,
                                  double scale) {
  for (std::size_t i = 0; i < ties.size(); ++i) {
    for (const ManualSight& sight : ties[i].sights) {
      const Lens& lens = rig.lenses[static_cast<std::size_t>(sight.lens)].lens;
      if (lens.unproject(sight.px * scale)) continue;
      return Error{.kind = ErrorKind::user_input,
                   .where = {},
                   .field = fmt::format("tie {}", i + 1),
                   .what = fmt::format("{:g}, {:g} px lies outside the field of view of lens {}",
                                       sight.px.x(), sight.px.y(), sight.lens),
                   .remedy = "set it inside that lens' image circle"};
    }
  }
  return std::nullopt;
}

Result<std::vector<Tie>> find_automatic(const ShotPictures& pictures,
                                        const std::string& shot_name) {
  auto found = find_ties(pictures.frames, pictures.rig, 0, TieOptions::of_knocked_body());
  if (!found) return tl::unexpected(found.error());
  const int matched = found->report.matched();
  const int consistent = found->report.consistent();
  const auto kept = static_cast<int>(found->ties.size());
  if (found->fit_together()) return std::move(found->ties);
  return fail(
      {.kind = ErrorKind::numeric,
       .where = "shot " + shot_name,
       .field = "auto",
       .what = fmt::format("the frames do not fit together: {} of {} matches agree, {} ties are "
                           "left, {} are needed",
                           consistent, matched, kept, TieSet::kFewest),
       .remedy = "check that they are of one shot and in the template's order (front, back), or "
                 "give 'tie' instead of 'auto'"});
}

// The rig that ties are found with: no touch that is to be made anew takes part.
ShotPictures by_template(const Shot& shot, ShotPictures pictures) {
  const Image& first = pictures.frames.front().image;
  pictures.rig = shot.body.rig_template.rig().scaled_to(first.width(), first.height());
  return pictures;
}

}  // namespace

Result<TouchReport> solve_touch(const Shot& shot, const ShotPictures& pictures, bool automatic,
                                const ProgressFn& progress) {
  const RigTemplate& body = shot.body.rig_template;
  const Frame& first = pictures.frames.front();
  const auto scale = template_scale(body.rig(), first.image, first.info.file);
  if (!scale) return tl::unexpected(scale.error());
  const std::vector<ManualTie>& manual = shot.edits().manual_ties;
  if (auto error = check_sights(body.rig(), manual, *scale)) return fail(std::move(*error));
  TouchReport report{.shot_file = {},
                     .template_file = shot.body.file.string(),
                     .ties = {},
                     .manual = manual.size(),
                     .result = {},
                     .solve_ms = 0};
  for (const ManualTie& tie : manual) report.ties.push_back(scaled_tie(tie.as_tie(0), *scale));
  if (automatic) {
    if (!tell(progress, "matching", 0)) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
    }
    auto found = find_automatic(pictures, shot.name());
    if (!found) return tl::unexpected(found.error());
    for (Tie& tie : *found) report.ties.push_back(scaled_tie(std::move(tie), *scale));
  }
  const auto begin = std::chrono::steady_clock::now();
  auto touched = touch(body.rig(), body.solution.covariance, body.solution.quality.flex_sigma_rad,
                       report.ties);
  if (!touched) return tl::unexpected(touched.error());
  report.solve_ms =
      std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
  report.result = std::move(*touched);
  return report;
}

Result<ShotFile> touched_document(const Shot& shot, const TouchResult& touch,
                                  const fs::path& shot_file) {
  auto document = document_at(shot, shot_file);
  if (!document) return document;
  document->touch.reset();
  if (!touch.step.isZero(0)) {
    document->touch = ShotTouch{touch.names, {touch.step.begin(), touch.step.end()}};
  }
  return document;
}

fs::path place_of_touch(const ShotFiles& files, const std::string& name) {
  if (!files.shot_file.empty()) return files.shot_file;
  return files.frames.front().parent_path() / (name + ".shot.yaml");
}

Result<TouchNeed> touch_where_needed(const Shot& shot, const fs::path& shot_file,
                                     const ProgressFn& progress) {
  auto pictures = read_pictures(shot, Exposures::middle, progress);
  if (!pictures) return tl::unexpected(pictures.error());
  auto fit = fit_shot(shot.touched_template(), pictures->frames);
  if (!fit) return tl::unexpected(fit.error());
  if (fit->verdict == FitVerdict::refused) return fail(refusal_of(*fit, shot.name()));
  TouchNeed need{.fit = std::move(*fit), .shot_file = shot_file};
  const bool knocked = need.fit.verdict == FitVerdict::knocked;
  // The file's touch was left out when the shot was opened: it is another template's.
  const auto written = shot.files.shot_file.empty() ? Result<ShotFile>(ShotFile{})
                                                    : read_shot_file(shot.files.shot_file);
  if (!written) return tl::unexpected(written.error());
  const bool stale = written->touch && !shot.edits().touch;
  if (!knocked && !stale) {
    const bool fits = need.fit.verdict == FitVerdict::fits;
    need.done = fits ? TouchNeed::Done::fits : TouchNeed::Done::left;
    if (!fits) need.findings.push_back(need.fit.words + "; " + need.fit.remedy);
    return need;
  }
  std::error_code code;
  if (shot.files.shot_file.empty() && fs::exists(fs::symlink_status(shot_file, code))) {
    return fail({.kind = ErrorKind::user_input,
                 .where = shot_file.string(),
                 .field = {},
                 .what = "is there already, and is not the shot file of " + shot.name(),
                 .remedy = "name that file in place of the frames, or move it away"});
  }
  auto report = solve_touch(shot, by_template(shot, std::move(*pictures)), knocked, progress);
  if (!report) return tl::unexpected(report.error());
  const auto document = touched_document(shot, report->result, shot_file);
  if (!document) return tl::unexpected(document.error());
  if (auto done = write_shot_file(shot_file, *document); !done) return tl::unexpected(done.error());
  need.done = TouchNeed::Done::touched;
  need.findings = std::move(report->result.findings);
  return need;
}

}  // namespace seamwright
