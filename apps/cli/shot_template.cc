#include "apps/cli/shot_template.h"

#include <fmt/format.h>

#include "apps/cli/shot_input.h"
#include "base/file.h"

namespace seamwright {

namespace {

Error no_template(const std::string& shot_file) {
  if (shot_file.empty()) {
    return {.kind = ErrorKind::user_input,
            .where = {},
            .field = "--template",
            .what = "is required",
            .remedy = "give the template of the body, or a shot file that names it"};
  }
  return {.kind = ErrorKind::user_input,
          .where = shot_file,
          .field = "template",
          .what = "the shot file names none",
          .remedy = "give --template"};
}

// The command line may name another template than the shot file, but a touch goes with its own.
std::optional<Error> check_hash(const ShotTemplate& opened, const std::string& shot_file,
                                bool named_on_command_line) {
  const auto& reference = opened.shot->rig_template;
  if (!reference || !reference->sha256 || *reference->sha256 == opened.sha256) return std::nullopt;
  if (opened.shot->touch) {
    return Error{.kind = ErrorKind::user_input,
                 .where = opened.file,
                 .field = "sha256",
                 .what = fmt::format("is not the template that {} was touched with", shot_file),
                 .remedy = "give that template, or run 'seamwright touch' again with this one"};
  }
  if (named_on_command_line) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = opened.file,
               .field = "sha256",
               .what = fmt::format("is not the template that {} was finished with", shot_file),
               .remedy = "put the old template back, or give --template"};
}

}  // namespace

Result<ShotTemplate> open_shot_template(const std::string& template_file,
                                        const std::vector<std::string>& arguments,
                                        OldTouch old_touch) {
  ShotTemplate opened;
  opened.file = template_file;
  std::string shot_file;
  if (arguments.size() == 1 && is_yaml(arguments.front())) {
    shot_file = arguments.front();
    auto shot = read_shot_file(shot_file);
    if (!shot) return tl::unexpected(shot.error());
    opened.shot = std::move(*shot);
    if (old_touch == OldTouch::replaced) opened.shot->touch.reset();
    if (opened.file.empty() && opened.shot->rig_template) {
      opened.file = beside_shot_file(shot_file, opened.shot->rig_template->file).string();
    }
  }
  if (opened.file.empty()) return fail(no_template(shot_file));
  auto hash = sha256_of_file(opened.file);
  if (!hash) return tl::unexpected(hash.error());
  opened.sha256 = std::move(*hash);
  if (opened.shot) {
    if (auto error = check_hash(opened, shot_file, !template_file.empty())) {
      return fail(std::move(*error));
    }
  }
  auto read = read_template(opened.file);
  if (!read) return tl::unexpected(read.error());
  opened.rig_template = std::move(*read);
  return opened;
}

SeamOptions seam_options_of(const ShotFile& shot) {
  SeamOptions options{.strokes = shot.seam};
  for (const ManualTie& tie : shot.manual_ties) options.ties.push_back(tie.as_tie(0));
  return options;
}

}  // namespace seamwright
