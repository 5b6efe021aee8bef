#include "jobs/shot/open_shot.h"

#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "base/file_guard.h"
#include "base/user_error.h"
#include "jobs/shot/body_files.h"
#include "templates/yaml_tree.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// Where the template lies: as given, or as the shot file says.
Result<fs::path> template_file_of(const OpenOptions& options, const fs::path& shot_file,
                                  const ShotFile& document) {
  if (!options.template_file.empty()) return options.template_file;
  if (document.rig_template) return beside_shot_file(shot_file, document.rig_template->file);
  if (shot_file.empty()) {
    return fail(user_error({}, "template", "is required",
                           "give the template of the body, or a shot file that names it"));
  }
  return fail(
      user_error(shot_file.string(), "template", "the shot file names none", "give 'template'"));
}

// Another template than the shot file's may be given, but a touch goes with its own.
std::optional<Error> check_template(const BodyTemplate& body, const ShotFiles& files,
                                    bool is_given) {
  const auto& reference = files.document.rig_template;
  if (!reference || !reference->sha256 || *reference->sha256 == body.sha256) return std::nullopt;
  const std::string shot_file = files.shot_file.string();
  if (files.document.touch) {
    return user_error(body.file.string(), "sha256",
                      fmt::format("is not the template that {} was touched with", shot_file),
                      "give that template, or touch the shot again with this one");
  }
  if (is_given) return std::nullopt;
  return user_error(body.file.string(), "sha256",
                    fmt::format("is not the template that {} was finished with", shot_file),
                    "put the old template back, or give 'template'");
}

Result<Rig> rig_of(const BodyTemplate& body, const ShotFiles& files) {
  const Rig& rig = body.rig_template.rig();
  if (!files.document.touch) return rig;
  auto touched = touched_rig(rig, *files.document.touch);
  if (!touched) touched.error().where = files.shot_file.string();
  return touched;
}

Result<Shot> shot_of(ShotFiles files, BodyTemplate body, const OpenOptions& options,
                     bool template_is_given) {
  if (auto error = options.wishes.validate()) return fail(std::move(*error));
  const auto& reference = files.document.rig_template;
  const bool fits = reference && reference->sha256 == body.sha256;
  if (options.old_touch == OldTouch::replaced ||
      (options.old_touch == OldTouch::where_it_fits && !fits)) {
    files.document.touch.reset();
  }
  if (auto error = check_template(body, files, template_is_given)) {
    return fail(std::move(*error));
  }
  auto rig = rig_of(body, files);
  if (!rig) return tl::unexpected(rig.error());
  take_body_files(files, body.rig_template);
  for (const fs::path& frame : files.frames) note_read(frame);
  for (const fs::path& file : files.all()) note_read(file);
  note_read(options.wishes.cover.plate);
  return Shot{.files = std::move(files),
              .body = std::move(body),
              .rig = std::move(*rig),
              .wishes = options.wishes};
}

}  // namespace

Result<BodyTemplate> read_body_template(const fs::path& file) {
  const auto text = read_file(file, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  auto parsed = parse_template(*text, file.string());
  if (!parsed) return tl::unexpected(parsed.error());
  return BodyTemplate{.rig_template = std::move(*parsed), .file = file, .sha256 = sha256(*text)};
}

Result<Shot> open_shot(const ShotRequest& request, const OpenOptions& options,
                       const ProgressFn& progress) {
  if (request.files.size() == 1 && is_yaml(request.files.front())) {
    auto files = find_shot_files(request, 0, progress);
    if (!files) return tl::unexpected(files.error());
    return open_shot(std::move(*files), options);
  }
  const auto file = template_file_of(options, {}, {});
  if (!file) return tl::unexpected(file.error());
  auto body = read_body_template(*file);
  if (!body) return tl::unexpected(body.error());
  // Exposures of a body with all lenses in one file are as many files as exposures.
  ShotRequest as_body = request;
  const auto& usual = body->rig_template.files.layout;
  if (!as_body.layout && usual != FrameLayout::one_per_file) as_body.layout = usual;
  auto files = find_shot_files(as_body, body->rig_template.rig().lens_count(), progress);
  if (!files) return tl::unexpected(files.error());
  return shot_of(std::move(*files), std::move(*body), options, true);
}

Result<Shot> open_shot(ShotFiles files, const OpenOptions& options) {
  const auto file = template_file_of(options, files.shot_file, files.document);
  if (!file) return tl::unexpected(file.error());
  auto body = read_body_template(*file);
  if (!body) return tl::unexpected(body.error());
  return shot_of(std::move(files), std::move(*body), options, !options.template_file.empty());
}

Result<Shot> open_shot(ShotFiles files, BodyTemplate body, const OpenOptions& options) {
  return shot_of(std::move(files), std::move(body), options, true);
}

}  // namespace seamwright
