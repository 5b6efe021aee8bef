#pragma once

#include <functional>
#include <string>

#include <CLI/CLI.hpp>

#include "apps/cli/console.h"
#include "base/result.h"
#include "imaging/picture_limit.h"

namespace seamwright {

/// The command line: commands register themselves, `run` picks one and runs it.
class Program {
 public:
  Program();

  /// What a command does; its failure is told by the program.
  using Action = std::function<Result<Outcome>(const Console&)>;

  /// Adds a command with the options every command has (--json, --threads, --largest-gpx;
  /// --overwrite where it writes files). `example` ends its help text.
  CLI::App& add_command(const std::string& name, const std::string& purpose,
                        const std::string& example, Action action);

  /// The process' exit code. Before a command begins, its files are known to the guard
  /// (apps/cli/file_options.h), and an output that may not be written ends it.
  int run(int argc, char** argv);

 private:
  [[nodiscard]] int run_action() const;
  [[nodiscard]] Result<Outcome> run_guarded(const Console& console) const;
  [[nodiscard]] PictureLimit picture_limit() const;
  [[nodiscard]] int refuse(const CLI::ParseError& error);

  CLI::App app_;
  Action action_;
  std::string chosen_;
  bool json_ = false;
  int threads_ = 0;
  bool overwrite_ = false;
  double largest_gpx_ = 0;  // 0: as usual
};

// One file per command.
void add_learn(Program& program);
void add_stitch(Program& program);
void add_touch(Program& program);
void add_check(Program& program);
void add_import(Program& program);
void add_restitch(Program& program);
void add_merge(Program& program);
void add_finish(Program& program);
void add_tour(Program& program);
void add_inspect(Program& program);
void add_workbench(Program& program);
void add_demo(Program& program);

}  // namespace seamwright
