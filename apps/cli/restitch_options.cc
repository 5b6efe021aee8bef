#include "apps/cli/restitch_options.h"

#include <filesystem>

#include <fmt/format.h>

#include "apps/cli/intake_options.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

std::string absolute(const std::string& path) {
  return fs::absolute(path).lexically_normal().string();
}

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

std::vector<std::string> restitch_words(const RestitchOptions& given) {
  std::vector<std::string> words = {"restitch"};
  for (const std::string& input : given.inputs) words.push_back(absolute(input));
  if (given.verify) words.emplace_back("--verify");
  if (given.wish.level.no_level) words.emplace_back("--no-level");
  if (by_run_file(given)) return words;
  const auto add = [&](const std::string& option, const std::string& value) {
    words.push_back(option);
    words.push_back(value);
  };
  for (const std::string& body : given.templates) add("--template", absolute(body));
  const WishOptions& wish = given.wish;
  const BracketOptions& brackets = given.brackets;
  add("--out", absolute(given.out));
  add("--width", wish.width);
  add("--seam", wish.seam);
  add("--compression", wish.compression);
  if (given.jpeg) {
    words.emplace_back("--jpeg");
    add("--jpeg-quality", fmt::format("{}", wish.rest.jpeg_quality));
    if (wish.rest.jpeg_width_px != 0)
      add("--jpeg-width", fmt::format("{}", wish.rest.jpeg_width_px));
  }
  if (wish.level.level) words.emplace_back("--level");
  if (wish.strip_location) words.emplace_back("--strip-location");
  if (!brackets.pattern.empty()) add("--pattern", brackets.pattern);
  add("--rest-s", fmt::format("{}", brackets.grouping.rest_s));
  if (brackets.grouping.frames_per_shot != 0) {
    add("--frames-per-shot", fmt::format("{}", brackets.grouping.frames_per_shot));
  }
  return words;
}

}  // namespace seamwright
