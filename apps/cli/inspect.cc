#include "apps/cli/inspect.h"

#include "apps/cli/file_options.h"
#include "apps/cli/program.h"
#include "jobs/shot/shot_files.h"
#include "templates/shot_file.h"

namespace seamwright {

namespace {

struct InspectOptions {
  std::vector<std::string> files;
  bool unproject = false;
  bool project = false;
};

constexpr std::string_view kInspectExample =
    "Examples:\n"
    "  seamwright inspect lantern.template.yaml\n"
    "  echo '0 1000.5 980.25' | seamwright inspect lantern.template.yaml --unproject\n"
    "  seamwright inspect front.tif back.tif\n"
    "\n--unproject reads lines 'lens u v' (pixels; 0,0 is the outer corner of the first pixel) "
    "from stdin and prints 'lens u v x y z', a unit direction in the rig's frame (x right, y down, "
    "z forward of lens 0). --project reads 'lens x y z', any length, and prints 'lens x y z u v'. "
    "Points outside a lens' field of view give nan and are counted on stderr. Empty lines are "
    "skipped; a line that does not parse ends the work with its number.";

Error cannot(std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = {},
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

Result<Outcome> inspect(const InspectOptions& options, const Console& console) {
  const bool points = options.unproject || options.project;
  const std::string& first = options.files.front();
  if (is_yaml(first) && options.files.size() > 1) {
    return fail(cannot("one template at a time", "give one template, or frames only"));
  }
  if (is_shot_file(first) && !points) {
    const auto shot = read_shot_file(first);
    if (!shot) return tl::unexpected(shot.error());
    std::vector<std::string> frames;
    for (const auto& frame : shot->frames) {
      frames.push_back(beside_shot_file(first, frame).string());
    }
    return inspect_frames(frames, console);
  }
  if (!is_yaml(first)) {
    if (points) return fail(cannot("points need a template", "give a *.template.yaml"));
    return inspect_frames(options.files, console);
  }
  const auto value = read_template(first);
  if (!value) return tl::unexpected(value.error());
  if (!points) return inspect_template(first, *value, console);
  return inspect_points(value->rig(),
                        options.unproject ? PointDirection::unproject : PointDirection::project,
                        console);
}

}  // namespace

void add_inspect(Program& program) {
  const auto options = std::make_shared<InspectOptions>();
  CLI::App& command = program.add_command(
      "inspect", "Show what a template or frames hold; map points through a template",
      std::string(kInspectExample),
      [options](const Console& console) { return inspect(*options, console); });
  command.add_option("files", options->files, "A template, a *.shot.yaml, or frames")
      ->type_name(value_kind::kFile)
      ->required();
  CLI::Option* unproject =
      command.add_flag("--unproject", options->unproject, "Pixels on stdin to directions");
  command.add_flag("--project", options->project, "Directions on stdin to pixels")
      ->excludes(unproject);
}

}  // namespace seamwright
