#include "apps/cli/restitch_options.h"

#include "apps/cli/intake_options.h"

namespace seamwright {

namespace {

bool is_run_file(const std::string& path) {
  return path.ends_with(".run.yaml") || path.ends_with(".run.yml");
}

bool by_run_file(const RestitchOptions& options) {
  return options.inputs.size() == 1 && is_run_file(options.inputs.front());
}

Error not_both(const std::string& run_file, const char* option) {
  return {.kind = ErrorKind::user_input,
          .where = run_file,
          .field = option,
          .what = "is said by the run file",
          .remedy = "say it there"};
}

}  // namespace

Result<RunRequest> run_request(const RestitchOptions& options) {
  auto wishes = options.wish.wishes();
  if (!wishes) return tl::unexpected(wishes.error());
  if (by_run_file(options)) {
    const std::string& file = options.inputs.front();
    if (!options.out.empty()) return fail(not_both(file, "--out"));
    if (!options.templates.empty()) return fail(not_both(file, "--template"));
    auto request = read_run_request(file);
    if (request && options.wish.level.no_level) request->wishes.level.upright = Upright::leave;
    if (request && options.wish.rest.anyway) request->wishes.anyway = true;
    if (request && options.wish.no_touch) request->wishes.touch_knocked = false;
    return request;
  }
  if (options.out.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--out",
                 .what = "no folder to write to",
                 .remedy = "give --out FOLDER, or one *.run.yaml that says it"});
  }
  auto grouping = options.brackets.grouping_options();
  if (!grouping) return tl::unexpected(grouping.error());
  return RunRequest{.shots = as_paths(options.inputs),
                    .templates = as_paths(options.templates),
                    .out = options.out,
                    .wishes = std::move(*wishes),
                    .grouping = std::move(*grouping),
                    .jpeg = options.jpeg};
}

}  // namespace seamwright
