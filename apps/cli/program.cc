#include "apps/cli/program.h"

#include <algorithm>
#include <exception>
#include <new>

#include <fmt/format.h>

#include "apps/cli/file_options.h"
#include "apps/cli/option_words.h"
#include "base/parallel.h"

namespace seamwright {

Program::Program()
    : app_(
          "Seamwright joins the frames of a multi-lens fisheye body into one 16-bit panorama.\n"
          "It learns a body once, from shots of its own, and stitches with what it learned.",
          "seamwright") {
  app_.set_version_flag("--version", std::string("seamwright ") + SEAMWRIGHT_VERSION);
  app_.require_subcommand(1);
  app_.get_formatter()->column_width(34);
  app_.footer(
      "Begin with the built-in demo:\n"
      "  seamwright demo rooms\n"
      "  seamwright learn --shot rooms/frames/library_1_front.tif "
      "rooms/frames/library_1_back.tif --out lantern.template.yaml\n"
      "  seamwright stitch --template lantern.template.yaml rooms/frames/library_1_front.tif "
      "rooms/frames/library_1_back.tif --out library.tif\n"
      "\n'seamwright COMMAND --help' explains each command with an example.\n"
      "Exit codes: 0 done, 1 user error, 2 finished with findings, 3 internal fault.");
}

CLI::App& Program::add_command(const std::string& name, const std::string& purpose,
                               const std::string& example, Action action) {
  CLI::App* command = app_.add_subcommand(name, purpose);
  command->add_flag("--json", json_, "Print one machine-readable object on stdout");
  command->add_option("--threads", threads_, "Threads to use; 0: all cores")
      ->check(CLI::Range(0, 1024));
  command
      ->add_option("--largest-gpx", largest_gpx_,
                   "Largest picture to read, in thousand million pixels; if not given: 4, or what "
                   "fits into half of the memory")
      ->check(CLI::Range(0.001, 1000.0));
  command->footer(example);
  command->callback([this, name, action = std::move(action)] {
    chosen_ = name;
    action_ = action;
  });
  return *command;
}

int Program::run(int argc, char** argv) {
  for (CLI::App* command : app_.get_subcommands(nullptr)) {
    if (!writes_files(*command)) continue;
    command->add_flag("--overwrite", overwrite_,
                      "Also replace files that this program did not write or that were changed "
                      "since; never a file that is read");
  }
  try {
    app_.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return refuse(error);
  }
  return run_action();
}

int Program::refuse(const CLI::ParseError& error) {
  if (error.get_exit_code() == static_cast<int>(CLI::ExitCodes::Success)) {
    return app_.exit(error);  // --help, --version
  }
  std::string command;
  for (const CLI::App* sub : app_.get_subcommands()) command = sub->get_name() + " ";
  std::string what = error.what();
  const auto rest = app_.remaining();
  if (command.empty()) {
    what = rest.empty() ? "no command given" : fmt::format("'{}' is not a command", rest.front());
  }
  Console(json_).fail({.kind = ErrorKind::user_input,
                       .where = {},
                       .field = {},
                       .what = what,
                       .remedy = fmt::format("see 'seamwright {}--help'", command)});
  return static_cast<int>(Outcome::user_error);
}

Result<Outcome> Program::run_guarded(const Console& console) const {
  FileGuard guard(
      {.overwrite = overwrite_, .remedy = "give another name, or replace it with --overwrite"});
  if (auto free = guard_files(*app_.get_subcommand(chosen_), guard); !free) {
    return tl::unexpected(free.error());
  }
  auto outcome = action_(console);
  if (outcome && !console.answered()) {
    return fail({.kind = ErrorKind::io,
                 .where = {},
                 .field = "--json",
                 .what = "the answer cannot be written to stdout",
                 .remedy = "give stdout a place with free space"});
  }
  return outcome;
}

PictureLimit Program::picture_limit() const {
  if (largest_gpx_ <= 0) return PictureLimit::usual();
  return {.pixels = static_cast<std::uint64_t>(largest_gpx_ * 1e9)};
}

int Program::run_action() const {
  const CLI::App& command = *app_.get_subcommand(chosen_);
  const Console console(
      json_, [&](std::string text) { return in_option_words(std::move(text), command); });
  const auto internal = [&](const std::string& what) {
    console.fail({.kind = ErrorKind::io,
                  .where = {},
                  .field = {},
                  .what = "internal fault: " + what,
                  .remedy = "please report it with the command line"});
    return static_cast<int>(Outcome::internal);
  };
  try {
    const ThreadLimit limit(threads_);
    const PictureLimitScope largest(picture_limit());
    const auto outcome = run_guarded(console);
    if (outcome) return static_cast<int>(*outcome);
    console.fail(in_option_words(outcome.error(), command));
    return static_cast<int>(Outcome::user_error);
  } catch (const std::bad_alloc&) {
    console.fail({.kind = ErrorKind::io,
                  .where = {},
                  .field = {},
                  .what = "not enough memory",
                  .remedy = "close other programs, or work at a smaller size"});
    return static_cast<int>(Outcome::user_error);
  } catch (const std::exception& fault) {
    return internal(fault.what());
  }
}

}  // namespace seamwright
