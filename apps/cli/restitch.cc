#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <map>
#include <memory>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/check_inputs.h"
#include "apps/cli/check_page.h"
#include "apps/cli/check_report.h"
#include "apps/cli/check_run.h"
#include "apps/cli/file_options.h"
#include "apps/cli/program.h"
#include "apps/cli/restitch_options.h"
#include "apps/cli/restitch_report.h"
#include "apps/cli/restitch_slurm.h"
#include "apps/cli/shot_template.h"
#include "apps/cli/template_choice.h"
#include "base/file.h"
#include "jobs/archive/run.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::string_view kRestitchExample =
    "Examples:\n"
    "  seamwright restitch archive/2024 --template my.template.yaml --out panoramas --width 16384\n"
    "  seamwright restitch archive/2024 --template a.yaml --template b.yaml --out panoramas "
    "--dry-run\n"
    "  seamwright restitch archive.run.yaml --part 3/16\n"
    "\nStitches every shot that the folders hold, and skips what was stitched from the very same "
    "frames, template and options before. Can be stopped or killed at any moment and started "
    "again. Of several templates each shot takes the one that fits it best. With --part several "
    "machines share the work; the same command without it then does what is missing and reports "
    "all.\n"
    "A shot that cannot be read or grouped is named and left out; the rest goes on.\n"
    "Finishes with findings (exit 2) when a shot failed or has something to look at.";

struct Part {
  int part = 1;
  int parts = 1;
};

Result<Part> parse_part(const std::string& text) {
  if (text.empty()) return Part{};
  Part part;
  char slash = 0, rest = 0;
  const int read = std::sscanf(text.c_str(), "%d%c%d%c", &part.part, &slash, &part.parts, &rest);
  if (read == 3 && slash == '/' && part.part >= 1 && part.part <= part.parts &&
      part.parts <= 100000) {
    return part;
  }
  return fail({.kind = ErrorKind::user_input,
               .where = {},
               .field = "--part",
               .what = fmt::format("'{}' is not one part of several", text),
               .remedy = "give K/N with K from 1 to N, such as 3/16"});
}

std::string stem_of(const CheckInput& shot) {
  std::string name = shot.name;
  for (const std::string_view ending : {".shot.yaml", ".shot.yml"}) {
    if (name.ends_with(ending)) name.erase(name.size() - ending.size());
  }
  std::replace_if(
      name.begin(), name.end(), [](char c) { return c == '/' || c == '\\' || c == ':'; }, '_');
  return name;
}

class Restitch {
 public:
  Restitch(const RestitchOptions& given, RestitchOptions resolved, const Console& console)
      : given_(given), command_(std::move(resolved)), console_(console) {}

  Result<Outcome> run() {
    if (auto ready = prepare(); !ready) return tl::unexpected(ready.error());
    if (auto free = page_and_script_are_free(); !free) return tl::unexpected(free.error());
    if (!command_.emit.empty()) return emit();
    if (auto apart = page_goes_with_work(); !apart) return tl::unexpected(apart.error());
    if (!command_.dry_run) {
      std::error_code code;
      fs::create_directories(command_.out, code);
    }
    RunOptions options{.folder = command_.out,
                       .part = part_.part,
                       .parts = part_.parts,
                       .dry_run = command_.dry_run,
                       .read_all = command_.verify};
    RestitchTeller teller(console_, command_);
    const auto report = run_archive(
        items_, options, [this](const ArchiveItem& item) { return stitch(item); },
        [&](const ItemOutcome& item, int at, int of) { return teller.tell_one(item, at, of); });
    if (!report) return tl::unexpected(report.error());
    teller.tell_all(*report);
    bool checked_fine = true;
    nlohmann::json answer = as_json(*report);
    answer["command"] = "restitch";
    answer["part"] = part_.part;
    answer["parts"] = part_.parts;
    if (!command_.page.empty() && !report->stopped) {
      const auto checked = check_all(*report);
      if (!checked) return tl::unexpected(checked.error());
      checked_fine = std::all_of(checked->begin(), checked->end(), nothing_wrong);
      answer["checked"] = checked_as_json(*checked)["shots"];
    }
    if (console_.json()) console_.answer(answer);
    const bool fine =
        checked_fine && report->damaged_lines == 0 && report->decayed.empty() &&
        std::all_of(report->items.begin(), report->items.end(), [this](const ItemOutcome& item) {
          return item.state != ItemState::failed && item.findings.empty() &&
                 (command_.dry_run || item.state != ItemState::to_do);
        });
    return fine ? Outcome::done : Outcome::findings;
  }

 private:
  Result<void> prepare() {
    auto part = parse_part(command_.part);
    if (!part) return tl::unexpected(part.error());
    part_ = *part;
    std::vector<NamedTemplate> bodies;
    for (const std::string& file : command_.templates) {
      auto body = read_template(file);
      if (!body) return tl::unexpected(body.error());
      bodies.push_back({.file = file, .rig_template = std::move(*body)});
    }
    const int lens_count = bodies.empty() ? 2 : bodies.front().rig_template.rig().lens_count();
    choice_ = std::make_unique<TemplateChoice>(std::move(bodies));
    const auto grouping = command_.stitch.brackets.grouping_options();
    if (!grouping) return tl::unexpected(grouping.error());
    auto inputs = check_inputs(command_.inputs, *grouping, lens_count, console_);
    if (!inputs) return tl::unexpected(inputs.error());
    std::erase_if(*inputs, [](const CheckInput& input) { return !input.panorama.empty(); });
    leave_out_unusable(*inputs);
    if (auto error = nothing_left(*inputs)) return fail(std::move(*error));
    for (const CheckInput& input : *inputs) {
      if (input.failure) continue;
      if (auto added = add(input); !added) return added;
    }
    for (const CheckInput& input : *inputs) {
      if (input.failure) add_left_out(input);
    }
    return {};
  }

  // Shots without a template, and those that would take each other's place.
  void leave_out_unusable(std::vector<CheckInput>& shots) const {
    std::map<std::string, int> stems;
    for (const CheckInput& shot : shots) {
      // The frames of a broken shot file may be here as a shot of their own.
      if (!shot.failure || !shot.shot_file.empty()) ++stems[stem_of(shot)];
    }
    for (CheckInput& shot : shots) {
      if (shot.failure) continue;
      if (const std::string stem = stem_of(shot); stems.at(stem) > 1) {
        shot.failure = {.kind = ErrorKind::user_input,
                        .where = shot.name,
                        .field = "inputs",
                        .what = fmt::format("two shots would be written as {}.tif", stem),
                        .remedy = "run them into different --out folders"};
      } else if (shot.shot_file.empty() && command_.templates.empty()) {
        shot.failure = {.kind = ErrorKind::user_input,
                        .where = shot.name,
                        .field = "--template",
                        .what = "is required",
                        .remedy = "give the template of the body; only shot files may name theirs"};
      }
    }
  }

  // Named as it is, for it is never written, but not as another one.
  void add_left_out(const CheckInput& shot) {
    ArchiveItem item;
    item.name = shot.name;
    item.failure = shot.failure;
    for (int i = 2; shots_.contains(item.name); ++i) {
      item.name = fmt::format("{} ({})", shot.name, i);
    }
    shots_.emplace(item.name, shot);
    items_.push_back(std::move(item));
  }

  Result<void> add(const CheckInput& shot) {
    const std::string stem = stem_of(shot);
    ArchiveItem item;
    item.name = stem;
    item.inputs = shot.frames;
    item.settings = settings();
    if (!shot.exposures.empty()) {
      item.inputs = shot.exposures;
      item.settings += " display_curve=2";  // what the first one made is made again
    }
    if (!shot.shot_file.empty()) {
      item.inputs.push_back(shot.shot_file);
      const auto file = read_shot_file(shot.shot_file);
      if (file && file->rig_template && command_.templates.empty()) {
        item.inputs.push_back(beside_shot_file(shot.shot_file, file->rig_template->file));
      }
    }
    for (const std::string& body : command_.templates) item.inputs.emplace_back(body);
    const fs::path folder = command_.out;
    item.outputs.push_back(folder / (stem + ".tif"));
    if (command_.jpeg) item.outputs.push_back(folder / (stem + ".jpg"));
    for (const fs::path& input : item.inputs) note_read(input);
    shots_.emplace(stem, shot);
    items_.push_back(std::move(item));
    return {};
  }

  Result<void> page_goes_with_work() const {
    if (command_.page.empty()) return {};
    if (command_.dry_run) {
      return fail({.kind = ErrorKind::user_input,
                   .where = {},
                   .field = "--page",
                   .what = "is written after the work, and --dry-run does none",
                   .remedy = "leave one of them out; 'seamwright check' needs no stitch"});
    }
    return {};
  }

  // Every frame is known now. A panorama that may not be written fails its own shot only.
  Result<void> page_and_script_are_free() const {
    std::vector<fs::path> outputs;
    if (!command_.page.empty()) outputs.emplace_back(command_.page);
    if (!command_.emit.empty()) outputs.emplace_back(command_.emit);
    return check_destinations(outputs);
  }

  // The shots as they were stitched, worst first, told and written as a page.
  Result<std::vector<Checked>> check_all(const RunReport& report) {
    CheckRunOptions options{.picture = true};
    options.check.level = !command_.stitch.level.level;
    options.heeds_marks = !command_.stitch.level.no_level;
    options.check.seams = command_.stitch.seam == "depth";
    std::vector<Checked> all;
    const auto not_checked = [&](const ItemOutcome& item, const std::string& why) {
      all.push_back({.found = {.name = item.name, .findings = {}}, .failure = why});
    };
    for (const ItemOutcome& item : report.items) {
      if (item.state == ItemState::failed) {
        not_checked(item, item.why);
        continue;
      }
      const CheckInput& shot = shots_.at(item.name);
      auto body = template_of(shot);
      if (!body) {
        not_checked(item, body.error().line());
        continue;
      }
      options.template_file = std::move(*body);
      auto checked = check_input(shot, options, console_);
      if (!checked) return tl::unexpected(checked.error());
      all.push_back(std::move(*checked));
    }
    rank(all);
    tell_checked(console_, all);
    if (auto written = write_file(command_.page, check_page(all)); !written) {
      return tl::unexpected(written.error());
    }
    console_.say(command_.page);
    return all;
  }

  // Empty where the shot file names it. Chosen once: it may take a look at the shot's frames.
  Result<std::string> template_of(const CheckInput& shot) {
    if (command_.templates.empty()) return std::string();
    if (const auto known = chosen_.find(shot.name); known != chosen_.end()) return known->second;
    auto body = choice_->of(shot);
    if (body) chosen_.emplace(shot.name, *body);
    return body;
  }

  // Everything but the inputs that decides the bytes. What came later is told where it was asked
  // for only, and names here stay what they were: what was stitched before stays done.
  std::string settings() const {
    const StitchOptions& o = command_.stitch;
    const std::string later = o.level.no_level ? " no_level=true" : "";
    return fmt::format(
        "seamwright {} width={} seam={} compression={} kernel={} jpeg={} quality={} jpeg_width={} "
        "level={} cover={} strip_location={} pattern={} gap_s={} frames_per_shot={} "
        "allow_missing={}{}",
        SEAMWRIGHT_VERSION, o.width, o.seam, o.compression, o.kernel, command_.jpeg, o.jpeg_quality,
        o.jpeg_width, o.level.level, o.cover.cover_deg, o.strip_location, o.brackets.pattern,
        o.brackets.grouping.rest_s, o.brackets.grouping.frames_per_shot,
        o.brackets.grouping.allow_missing, later);
  }

  Result<std::vector<std::string>> stitch(const ArchiveItem& item) {
    const CheckInput& shot = shots_.at(item.name);
    StitchOptions options = command_.stitch;
    options.out = item.outputs.front().string();
    if (command_.jpeg) options.jpeg = item.outputs.back().string();
    auto body = template_of(shot);
    if (!body) return tl::unexpected(body.error());
    options.template_file = std::move(*body);
    if (!shot.shot_file.empty()) {
      options.frames = {shot.shot_file.string()};
    } else {
      for (const fs::path& frame : shot.exposures.empty() ? shot.frames : shot.exposures) {
        options.frames.push_back(frame.string());
      }
    }
    return stitch_shot(options, console_.hushed());
  }

  Result<Outcome> emit() const {
    const std::string report =
        (fs::absolute(command_.out) / "restitch-report.json").lexically_normal().string();
    const std::string script =
        slurm_script(restitch_words(given_), std::max(2, part_.parts), report);
    if (auto written = write_file(command_.emit, script); !written) {
      return tl::unexpected(written.error());
    }
    console_.say(fmt::format("{}: start it with: sh {}", command_.emit, shell_word(command_.emit)));
    return Outcome::done;
  }

  const RestitchOptions& given_;
  const RestitchOptions command_;  // with what the run file says
  const Console& console_;
  Part part_;
  std::unique_ptr<TemplateChoice> choice_;
  std::map<std::string, std::string> chosen_;  // template by shot
  std::map<std::string, CheckInput> shots_;
  std::vector<ArchiveItem> items_;
};

Result<Outcome> restitch(const RestitchOptions& given, const Console& console) {
  auto resolved = with_run_file(given);
  if (!resolved) return tl::unexpected(resolved.error());
  return Restitch(given, std::move(*resolved), console).run();
}

}  // namespace

void add_restitch(Program& program) {
  const auto options = std::make_shared<RestitchOptions>();
  CLI::App& command = program.add_command(
      "restitch", "Stitch an archive of shots, as often as is needed and no more",
      std::string(kRestitchExample),
      [options](const Console& console) { return restitch(*options, console); });
  StitchOptions& stitch = options->stitch;
  command
      .add_option("inputs", options->inputs,
                  "Folders of frames, frames, *.shot.yaml; or one *.run.yaml that says all")
      ->type_name(value_kind::kPath)
      ->required();
  command
      .add_option("--template", options->templates,
                  "Template of the body; of several, each shot takes the one that fits")
      ->type_name(value_kind::kFile)
      ->allow_extra_args(false);
  command.add_option("--out", options->out, "Folder for the panoramas; made when missing")
      ->type_name(value_kind::kNewFolder);
  command.add_option("--width", stitch.width, "Width in pixels, or native")->capture_default_str();
  command.add_flag("--jpeg", options->jpeg, "Also write a JPEG beside each panorama");
  command.add_option("--jpeg-quality", stitch.jpeg_quality, "1 to 100")
      ->check(CLI::Range(1, 100))
      ->capture_default_str();
  command.add_option("--jpeg-width", stitch.jpeg_width, "Width of the JPEGs in pixels");
  command.add_option("--compression", stitch.compression, "Of the TIFFs: none, lzw, deflate")
      ->check(CLI::IsMember({"none", "lzw", "deflate"}))
      ->capture_default_str();
  command.add_option("--seam", stitch.seam, "depth or plain")
      ->check(CLI::IsMember({"depth", "plain"}))
      ->capture_default_str();
  command.add_flag("--level", stitch.level.level, "Set each panorama upright");
  command.add_flag("--no-level", stitch.level.no_level,
                   "Leave each as the body stood, also where a shot file marks upright edges");
  command.add_flag("--strip-location", stitch.strip_location, "Leave out where frames were taken");
  command.add_option("--part", options->part, "K/N: only this share of the shots");
  command
      .add_option("--emit-slurm", options->emit,
                  "Write a script of a Slurm job array (as many jobs as --part 1/N says) and "
                  "stop")
      ->type_name(value_kind::kNewFile);
  command
      .add_option("--page", options->page,
                  "Then check every shot, and write the list, worst first, as an HTML page")
      ->type_name(value_kind::kNewFile);
  command.add_flag("--verify", options->verify,
                   "Read every frame and panorama again, whatever their times say, and stitch what "
                   "the disk has damaged");
  command.add_flag("--dry-run", options->dry_run, "Show what would be done and why, write nothing");
  command.add_option("--pattern", stitch.brackets.pattern,
                     "Regular expression over file names with named groups shot, lens, ev, frame; "
                     "overrides EXIF");
  command
      .add_option("--rest-s", stitch.brackets.grouping.rest_s, "Rest between two shots, seconds")
      ->capture_default_str();
  command.add_option("--frames-per-shot", stitch.brackets.grouping.frames_per_shot,
                     "Frames of each lens in each shot, where there is no rest between shots");
}

}  // namespace seamwright
