#pragma once

#include <string>
#include <vector>

#include "apps/cli/bracket_options.h"
#include "apps/cli/wish_options.h"
#include "base/result.h"
#include "jobs/restitch/open_run.h"
#include "jobs/restitch/shots_at_once.h"

namespace seamwright {

struct RestitchOptions {
  std::vector<std::string> inputs;  ///< folders, frames, shot files; or one *.run.yaml
  std::vector<std::string> templates;
  std::string out;
  std::string part;
  std::string emit;
  std::string page;  ///< the ranked list of check over all shots; empty: none
  WishOptions wish;
  BracketOptions brackets;
  Delivery delivery;
  std::vector<int> more_jpegs;  ///< widths
  bool faces = false;
  bool tiles = false;
  CubeOptions cube;
  bool jpeg = false;
  RunBudget budget;
  bool dry_run = false;
  bool verify = false;                ///< read everything again
  const CLI::App* command = nullptr;  ///< that was given all this
};

/// Whether a run file says what is stitched.
[[nodiscard]] bool by_run_file(const RestitchOptions& options);
/// The options that say what is stitched and delivered, which a run file says in their place.
void add_run_options(CLI::App& command, RestitchOptions& options);
/// What the command line says, or the run file in its place. Fails where both say something, and
/// where nothing says where to write.
[[nodiscard]] Result<RunRequest> run_request(const RestitchOptions& options);

}  // namespace seamwright
