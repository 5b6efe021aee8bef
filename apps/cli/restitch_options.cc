#include "apps/cli/restitch_options.h"

#include <filesystem>

#include <fmt/format.h>

#include "templates/run_file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

std::string absolute(const std::string& path) {
  return fs::absolute(path).lexically_normal().string();
}

std::string beside(const std::string& run_file, const fs::path& relative) {
  return (fs::path(run_file).parent_path() / relative).lexically_normal().string();
}

Error not_both(const std::string& run_file, const char* option) {
  return {.kind = ErrorKind::user_input,
          .where = run_file,
          .field = option,
          .what = "is said by the run file",
          .remedy = "say it there"};
}

}  // namespace

bool is_run_file(const std::string& path) {
  return path.ends_with(".run.yaml") || path.ends_with(".run.yml");
}

Result<RestitchOptions> with_run_file(RestitchOptions options) {
  const bool alone = options.inputs.size() == 1 && is_run_file(options.inputs.front());
  if (!alone) {
    if (!options.out.empty()) return options;
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--out",
                 .what = "no folder to write to",
                 .remedy = "give --out FOLDER, or one *.run.yaml that says it"});
  }
  const std::string file = options.inputs.front();
  if (!options.out.empty()) return fail(not_both(file, "--out"));
  if (!options.templates.empty()) return fail(not_both(file, "--template"));
  const auto run = read_run_file(file);
  if (!run) return tl::unexpected(run.error());
  options.inputs.clear();
  for (const fs::path& shot : run->shots) options.inputs.push_back(beside(file, shot));
  for (const fs::path& body : run->templates) options.templates.push_back(beside(file, body));
  options.out = beside(file, run->out);
  WishOptions& wish = options.wish;
  wish.width = run->width_px ? fmt::format("{}", *run->width_px) : "native";
  wish.seam = run->seam;
  wish.compression = run->compression;
  options.jpeg = run->jpeg.has_value();
  wish.rest.jpeg_quality = run->jpeg.value_or(RunJpeg{}).quality;
  wish.rest.jpeg_width_px = run->jpeg.value_or(RunJpeg{}).width_px;
  wish.level.level = run->level && !wish.level.no_level;
  wish.strip_location = run->strip_location;
  options.brackets.pattern = run->pattern;
  options.brackets.grouping.rest_s = run->rest_s;
  options.brackets.grouping.frames_per_shot = run->frames_per_shot;
  return options;
}

std::vector<std::string> restitch_words(const RestitchOptions& given) {
  std::vector<std::string> words = {"restitch"};
  for (const std::string& input : given.inputs) words.push_back(absolute(input));
  if (given.verify) words.emplace_back("--verify");
  if (given.wish.level.no_level) words.emplace_back("--no-level");
  if (given.inputs.size() == 1 && is_run_file(given.inputs.front())) return words;
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
