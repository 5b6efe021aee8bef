#include <csignal>
#include <cstdio>
#include <optional>
#include <thread>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/file_options.h"
#include "apps/cli/program.h"
#include "apps/workbench/page_files.h"
#include "apps/workbench/server.h"
#include "jobs/shot/open_shot.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

struct WorkbenchOptions {
  std::string place;
  std::string template_file;
};

constexpr std::string_view kExample =
    "Examples:\n"
    "  seamwright workbench room.shot.yaml\n"
    "  seamwright workbench rooms/ --template lantern.template.yaml\n"
    "\nPrints an address to open in a browser on this machine and serves it until Ctrl-C. Frames "
    "are never changed. Edits are kept at once in NAME.shot.edits beside the shot; Save writes "
    "NAME.shot.yaml, which 'seamwright stitch' takes.";

Result<workbench::OpenedShot> open_entry(const workbench::ShotEntry& entry,
                                         const std::string& template_file) {
  const bool has_file = fs::exists(entry.shot_file);
  ShotRequest request{.files = entry.frames};
  if (has_file) request.files = {entry.shot_file};
  auto shot = open_shot(request, {.template_file = template_file, .old_touch = OldTouch::replaced});
  if (!shot) return tl::unexpected(shot.error());
  ShotFile document = shot->edits();
  if (!has_file) {  // what its file will say, relative to its folder
    for (const fs::path& frame : entry.frames) document.frames.push_back(frame.filename());
  }
  auto reference = seen_from_shot_file(shot->body.file, entry.shot_file);
  if (!reference) return tl::unexpected(reference.error());
  document.rig_template = TemplateReference{std::move(*reference), shot->body.sha256};
  auto pictures = read_pictures(*shot, Exposures::middle);
  if (!pictures) return tl::unexpected(pictures.error());
  return workbench::OpenedShot{.body = std::move(shot->body.rig_template),
                               .shot = std::move(document),
                               .frames = std::move(pictures->frames)};
}

// Keeps the signals to stop until they are waited for. Threads inherit that, so it comes before the
// first one: a thread that did not would be ended by them, and the program with it.
sigset_t held_stops() {
  sigset_t stops;
  sigemptyset(&stops);
  sigaddset(&stops, SIGINT);
  sigaddset(&stops, SIGTERM);
  pthread_sigmask(SIG_BLOCK, &stops, nullptr);
  return stops;
}

// Serves until the person says stop. Signals are waited for in a thread of their own: a handler may
// do next to nothing.
Result<void> serve(workbench::Server& server, const sigset_t& stops) {
  std::thread waiter([&server, stops] {
    int signal = 0;
    sigwait(&stops, &signal);
    server.stop();
  });
  auto done = server.run();
  pthread_kill(waiter.native_handle(), SIGTERM);  // where the server ended by itself
  waiter.join();
  return done;
}

// Why a shot's own file or frames are of no use, without reading any picture.
std::optional<Error> failure_of(const workbench::ShotEntry& entry) {
  std::vector<fs::path> frames = entry.frames;
  if (entry.has_file) {
    const auto shot = read_shot_file(entry.shot_file);
    if (!shot) return shot.error();
    for (const fs::path& frame : shot->frames) {
      frames.push_back(beside_shot_file(entry.shot_file, frame));
    }
  }
  for (const fs::path& frame : frames) {
    std::error_code code;
    if (fs::is_regular_file(frame, code)) continue;
    return Error{.kind = ErrorKind::user_input,
                 .where = entry.has_file ? entry.shot_file.string() : entry.name,
                 .field = "frames",
                 .what = fmt::format("{} is not there", frame.string()),
                 .remedy = "bring it back, or mend the shot file"};
  }
  return std::nullopt;
}

// Those that can be opened, as far as their files tell without their pictures; of the first one the
// pictures are read as well: a wrong template is told here rather than in the page. The others are
// named and left out. Fails where none is left.
Result<std::vector<workbench::ShotEntry>> usable_shots(const WorkbenchOptions& options,
                                                       const Console& console) {
  auto list = workbench::list_shots(options.place);
  if (!list) return tl::unexpected(list.error());
  if (!options.template_file.empty()) {
    if (auto body = read_template(options.template_file); !body) {
      return tl::unexpected(body.error());
    }
  }
  std::vector<workbench::ShotEntry> usable;
  std::vector<Error> left_out = std::move(list->left_out);
  const std::size_t incomplete = left_out.size();
  for (workbench::ShotEntry& entry : list->shots) {
    auto failure = failure_of(entry);
    if (!failure && usable.empty()) {
      if (auto opened = open_entry(entry, options.template_file); !opened) failure = opened.error();
    }
    if (failure) {
      left_out.push_back(std::move(*failure));
    } else {
      usable.push_back(std::move(entry));
    }
  }
  if (usable.empty()) return fail(std::move(left_out[incomplete]));
  for (const Error& error : left_out) console.say("left out: " + error.line());
  return usable;
}

Result<Outcome> run_workbench(const WorkbenchOptions& options, const Console& console) {
  if (workbench::page_files().empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = {},
                 .what = "this program was built without the workbench's page",
                 .remedy = "install nodejs and npm, and build again"});
  }
  const sigset_t stops = held_stops();
  auto shots = usable_shots(options, console);
  if (!shots) return tl::unexpected(shots.error());
  const auto count = shots->size();
  workbench::Server server(std::move(*shots), [&](const workbench::ShotEntry& entry) {
    return open_entry(entry, options.template_file);
  });
  if (auto bound = server.bind(); !bound) return tl::unexpected(bound.error());
  console.say(
      fmt::format("{} shot{} on the bench; open this address in a browser, end with "
                  "Ctrl-C:\n  {}",
                  count, count == 1 ? "" : "s", server.address()));
  if (console.json()) {
    console.answer({{"command", "workbench"}, {"address", server.address()}, {"shots", count}});
    std::fflush(stdout);  // it is read while the server runs
  }
  if (auto served = serve(server, stops); !served) return tl::unexpected(served.error());
  return Outcome::done;
}

}  // namespace

void add_workbench(Program& program) {
  const auto options = std::make_shared<WorkbenchOptions>();
  CLI::App& command = program.add_command(
      "workbench", "Open shots that need a person, as a page in the browser", std::string(kExample),
      [options](const Console& console) { return run_workbench(*options, console); });
  command
      .add_option("shot", options->place,
                  "A *.shot.yaml, or a folder of shots: shot files, and frames NAME_front and "
                  "NAME_back or NAME_0, NAME_1 ...")
      ->type_name(value_kind::kPath)
      ->required();
  command
      .add_option("--template", options->template_file,
                  "Template of the body; may be left out where shot files name it")
      ->type_name(value_kind::kFile);
}

}  // namespace seamwright
