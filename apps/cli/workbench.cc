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
#include "templates/rig_template.h"

namespace seamwright {

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

// Those that can be opened, as far as their files tell without their pictures; of the first one the
// pictures are read as well: a wrong template is told here rather than in the page. The others are
// named and left out. Fails where none is left.
Result<std::vector<workbench::ShotEntry>> usable_shots(const WorkbenchOptions& options,
                                                       const Console& console) {
  int lens_count = 2;
  if (!options.template_file.empty()) {
    const auto body = read_template(options.template_file);
    if (!body) return tl::unexpected(body.error());
    lens_count = body->rig().lens_count();
  }
  auto list = workbench::list_shots(options.place, lens_count, console.progress());
  if (!list) return tl::unexpected(list.error());
  std::vector<workbench::ShotEntry> usable;
  std::optional<Error> unopened;  // the first
  for (workbench::ShotEntry& entry : list->shots) {
    if (usable.empty()) {
      if (auto opened = workbench::open_entry(entry, options.template_file); !opened) {
        list->left_out.push_back(opened.error());
        if (!unopened) unopened = opened.error();
        continue;
      }
    }
    usable.push_back(std::move(entry));
  }
  if (usable.empty()) return fail(std::move(*unopened));
  for (const Error& error : list->left_out) console.say("left out: " + error.line());
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
    return workbench::open_entry(entry, options.template_file);
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
