#include "apps/cli/shot_input.h"

#include <fmt/format.h>

#include "apps/cli/bracketed_shot.h"
#include "base/file.h"
#include "templates/shot_file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

bool ends_with(const fs::path& path, std::string_view suffix) {
  return path.filename().string().ends_with(suffix);
}

FrameLayout layout_of(const std::string& name, std::size_t files, int lens_count) {
  if (name == "stacked") return FrameLayout::stacked;
  if (name == "side-by-side") return FrameLayout::side_by_side;
  if (name == "one-per-file") return FrameLayout::one_per_file;
  return files == 1 && lens_count > 1 ? FrameLayout::side_by_side : FrameLayout::one_per_file;
}

// "library_1" of "rooms/library_1_front.tif"; the stem where there is no such ending.
std::string shot_name(const fs::path& first_file) {
  std::string name = first_file.stem().string();
  if (is_shot_file(first_file)) name = fs::path(name).stem().string();
  for (const std::string_view ending : {"_front", "-front", "_0", "-0"}) {
    if (name.size() > ending.size() && name.ends_with(ending)) {
      return name.substr(0, name.size() - ending.size());
    }
  }
  return name;
}

Result<ShotInput> open_shot_file(const fs::path& path, const IntakeOptions& options) {
  if (!options.layout.empty() || !options.quarter_turns.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = path.string(),
                 .field = {},
                 .what = "--layout and --turns do not go with a shot file",
                 .remedy = "say it in the shot file"});
  }
  const auto shot = read_shot_file(path);
  if (!shot) return tl::unexpected(shot.error());
  ShotInput input{.name = shot_name(path), .files = {}, .intake = shot->intake, .exposures = {}};
  for (const fs::path& frame : shot->frames) input.files.push_back(beside_shot_file(path, frame));
  for (const auto& bracket : shot->brackets) {
    for (const BracketFrame& frame : bracket) {
      input.exposures.push_back(beside_shot_file(path, frame.file));
    }
  }
  input.intake.mirrored = input.intake.mirrored || options.mirrored;
  return input;
}

}  // namespace

void IntakeOptions::add_to(CLI::App& command) {
  command
      .add_option("--layout", layout,
                  "How lenses lie in the files: side-by-side (usual for one file), stacked, "
                  "one-per-file")
      ->check(CLI::IsMember({"side-by-side", "stacked", "one-per-file"}));
  command
      .add_option("--turns", quarter_turns,
                  "Clockwise quarter turns that set each lens' frame upright, e.g. --turns 1 3")
      ->check(CLI::Range(-3, 3));
  command.add_flag("--mirrored", mirrored, "The files hold mirrored pictures: flip them");
}

bool is_yaml(const fs::path& path) { return ends_with(path, ".yaml") || ends_with(path, ".yml"); }

bool is_shot_file(const fs::path& path) {
  return ends_with(path, ".shot.yaml") || ends_with(path, ".shot.yml");
}

Result<ShotInput> open_shot_input(const std::vector<std::string>& arguments,
                                  const IntakeOptions& options, int lens_count, bool brackets) {
  if (arguments.size() == 1 && is_yaml(arguments[0])) {
    return open_shot_file(arguments[0], options);
  }
  ShotInput input{.name = shot_name(arguments.front()),
                  .files = {arguments.begin(), arguments.end()},
                  .intake = {.layout = layout_of(options.layout, arguments.size(), lens_count),
                             .lens_count = lens_count,
                             .quarter_turns = options.quarter_turns,
                             .mirrored = options.mirrored},
                  .exposures = {}};
  if (input.intake.layout == FrameLayout::one_per_file &&
      static_cast<int>(arguments.size()) != lens_count &&
      !(brackets && is_bracketed(arguments, input.intake, lens_count))) {
    return fail(
        {.kind = ErrorKind::user_input,
         .where = input.name,
         .field = "frames",
         .what = fmt::format("{} files for a body of {} lenses", arguments.size(), lens_count),
         .remedy = "give one file per lens, or one file with all lenses"});
  }
  return input;
}

Result<fs::path> seen_from_shot_file(const fs::path& file, const fs::path& shot_file) {
  std::error_code code;
  fs::path relative = fs::relative(file, fs::absolute(shot_file).parent_path(), code);
  if (!code && !relative.empty()) return relative;
  return fail({.kind = ErrorKind::user_input,
               .where = shot_file.string(),
               .field = {},
               .what = fmt::format("has no relative path to {}", file.string()),
               .remedy = "keep the shot file on the same drive as frames and template"});
}

Result<std::vector<TemplateSource>> sources_of(const ShotInput& shot) {
  std::vector<TemplateSource> sources;
  for (const fs::path& file : shot.files) {
    auto hash = sha256_of_file(file);
    if (!hash) return tl::unexpected(hash.error());
    sources.push_back({file.filename().string(), std::move(*hash)});
  }
  return sources;
}

}  // namespace seamwright
