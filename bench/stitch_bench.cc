// Whole stitches, as programs of their own: what a person waits for and the memory it takes, beside
// OpenCV's building blocks on the same frames in the same run.
//
// Every row is run in turn, `--repetitions` rounds, so that a busy minute falls on all of them; the
// table gives medians. The yardsticks start their clocks when their maps are ready; our program's
// clock runs from its start to its end, output flushed to the disk. On a busy machine the ratios of
// processor time say more than those of the clock.
//
//   bench_stitch [--width PX] [--frame PX] [--repetitions N] [--program FILE] [--rows TEXT]

#include <algorithm>
#include <cstdio>
#include <filesystem>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "base/file.h"
#include "bench/child_process.h"
#include "bench/opencv_stitch.h"
#include "bench/options.h"
#include "bench/stitch_stages.h"
#include "templates/rig_template.h"

namespace seamwright::bench {
namespace {

namespace fs = std::filesystem;
using nlohmann::ordered_json;

struct Options {
  int width_px = 8192;
  int frame_px = 4000;
  int repetitions = 5;
  std::string program = "build/seamwright";
  std::string rows;  // only rows whose name holds this
  fs::path self;     // this program
  fs::path scene;    // folder of the demo frames
  std::string shot = "library_1";
};

struct Scene {
  fs::path body;
  std::vector<fs::path> frames;
};

Scene scene_of(const Options& options, int frame_px) {
  const fs::path folder = options.scene / fmt::format("frames_{}", frame_px);
  return {folder / "truth" / "body.template.yaml",
          {folder / "frames" / (options.shot + "_front.tif"),
           folder / "frames" / (options.shot + "_back.tif")}};
}

bool exists(const Scene& scene) {
  return fs::exists(scene.body) && fs::exists(scene.frames[0]) && fs::exists(scene.frames[1]);
}

// Frames of the demo, photographed once. Beyond 4000 px they are enlarged: their content does not
// matter to speed, and rays are slow.
Result<void> make_scene(const Options& options) {
  constexpr int kMostRays_px = 4000;
  constexpr int kAllCores = 1024;
  const int rays_px = std::min(options.frame_px, kMostRays_px);
  const Scene rays = scene_of(options, rays_px);
  if (!exists(rays)) {
    std::fprintf(stderr, "photographing frames of %d px, once\n", rays_px);
    fs::create_directories(options.scene);
    const auto done =
        run_child({options.program, "demo", rays.body.parent_path().parent_path().string(),
                   "--frame", std::to_string(rays_px), "--shots", options.shot, "--no-panoramas"},
                  kAllCores);
    if (!done) return tl::unexpected(done.error());
  }
  const Scene asked = scene_of(options, options.frame_px);
  if (exists(asked)) return {};
  fs::create_directories(asked.body.parent_path());
  fs::create_directories(asked.frames[0].parent_path());
  fs::copy_file(rays.body, asked.body, fs::copy_options::overwrite_existing);
  for (std::size_t i = 0; i < asked.frames.size(); ++i) {
    const cv::Mat frame = cv::imread(rays.frames[i].string(), cv::IMREAD_UNCHANGED);
    cv::Mat larger;
    cv::resize(frame, larger, {options.frame_px, options.frame_px}, 0, 0, cv::INTER_CUBIC);
    cv::imwrite(asked.frames[i].string(), larger, {cv::IMWRITE_TIFF_COMPRESSION, 1});
  }
  return {};
}

// One repetition of one row.
struct Sample {
  double wall_s = 0;
  double cpu_s = 0;
  double peak_mib = 0;
  std::vector<StageSeconds> stages;
};

struct Row {
  std::string name;
  std::vector<std::string> command;
  int cores = 2;
  bool times_itself = false;  // from when its maps are ready
  std::vector<Sample> samples{};
};

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  const std::size_t middle = values.size() / 2;
  return values.size() % 2 == 1 ? values[middle] : 0.5 * (values[middle - 1] + values[middle]);
}

double median_of(const Row& row, double Sample::*figure) {
  std::vector<double> values;
  for (const Sample& sample : row.samples) values.push_back(sample.*figure);
  return median(std::move(values));
}

std::vector<StageSeconds> median_stages(const Row& row) {
  std::vector<StageSeconds> stages;
  if (row.samples.empty()) return stages;
  for (std::size_t i = 0; i < row.samples[0].stages.size(); ++i) {
    std::vector<double> values;
    std::vector<double> cpu;
    for (const Sample& sample : row.samples) {
      values.push_back(sample.stages[i].s);
      cpu.push_back(sample.stages[i].cpu_s);
    }
    stages.push_back(
        {row.samples[0].stages[i].stage, median(std::move(values)), median(std::move(cpu))});
  }
  return stages;
}

// What a child that times itself writes.
std::string told(const std::vector<StageSeconds>& stages) {
  ordered_json all = ordered_json::array();
  for (const StageSeconds& stage : stages) all.push_back({stage.stage, stage.s, stage.cpu_s});
  return all.dump();
}

std::vector<StageSeconds> heard(const std::string& text) {
  std::vector<StageSeconds> stages;
  for (const auto& stage : nlohmann::json::parse(text, nullptr, false)) {
    if (!stage.is_array()) continue;
    stages.push_back({stage[0].get<std::string>(), stage[1].get<double>(), stage[2].get<double>()});
  }
  return stages;
}

Result<void> run_once(Row& row) {
  constexpr int kFindings = 2;
  const auto figures = run_child(row.command, row.cores, kFindings);
  if (!figures) return tl::unexpected(figures.error());
  Sample sample{figures->wall_s, figures->cpu_s, figures->peak_mib, {}};
  if (row.times_itself) {
    sample.stages = heard(figures->out);
    sample.wall_s = 0;
    sample.cpu_s = 0;
    for (const StageSeconds& stage : sample.stages) {
      sample.wall_s += stage.s;
      sample.cpu_s += stage.cpu_s;
    }
  }
  row.samples.push_back(std::move(sample));
  return {};
}

constexpr const char* kBare = "bare read + remap cubic + write";
constexpr const char* kDetail = "OpenCV detail pipeline, 8-bit";

std::vector<Row> rows_of(const Options& options, const Scene& scene) {
  const std::string width = std::to_string(options.width_px);
  const std::string front = scene.frames[0].string();
  const std::string back = scene.frames[1].string();
  const std::string out = (options.scene / "out.tif").string();
  const auto reference = [&](const char* kind) {
    return std::vector<std::string>{
        options.self.string(), "--as", kind, scene.body.string(), front, back, out, width};
  };
  const auto ours = [&](const char* seam) {
    return std::vector<std::string>{options.program, "stitch", "--template", scene.body.string(),
                                    front,           back,     "--out",      out,
                                    "--width",       width,    "--seam",     seam};
  };
  std::vector<Row> rows{
      {kBare, reference("cubic"), 2, true},
      {"bare read + remap Lanczos + write", reference("lanczos"), 2, true},
      {"Seamwright, plain", ours("plain"), 2, false},
      {"Seamwright, depth", ours("depth"), 2, false},
      {"Seamwright, plain, 1 thread", ours("plain"), 1, false},
      {"Seamwright, depth, 1 thread", ours("depth"), 1, false},
      {"stages, plain", reference("stages-plain"), 2, true},
      {"stages, depth", reference("stages-depth"), 2, true},
      {"stages, plain, 1 thread", reference("stages-plain"), 1, true},
      {"stages, depth, 1 thread", reference("stages-depth"), 1, true},
  };
  rows.insert(rows.begin() + 2, {kDetail, reference("detail"), 2, true});
  // OpenCV's maps and planes hold whole images: beyond this they would take tens of GiB.
  constexpr int kMostWhole_px = 12000;
  const bool whole = options.width_px <= kMostWhole_px;
  std::erase_if(rows, [&](const Row& row) {
    const bool theirs =
        row.command[0] == options.self.string() && row.command[2].find("stages") != 0;
    if (theirs && !whole) return true;
    return row.name.find(options.rows) == std::string::npos && row.name != kBare;
  });
  return rows;
}

std::string stages_in_words(const std::vector<StageSeconds>& stages) {
  std::string text;
  for (const StageSeconds& stage : stages) {
    text += fmt::format("{}{} {:.2f} ({:.2f})", text.empty() ? "" : ", ", stage.stage, stage.s,
                        stage.cpu_s);
  }
  return text;
}

double figure_of(const std::vector<Row>& rows, const std::string& name, double Sample::*figure) {
  for (const Row& row : rows) {
    if (row.name == name) return median_of(row, figure);
  }
  return 0;
}

std::string markdown_of(const Options& options, const std::vector<Row>& rows) {
  const double bare = figure_of(rows, kBare, &Sample::wall_s);
  const double bare_cpu = figure_of(rows, kBare, &Sample::cpu_s);
  const double detail = figure_of(rows, kDetail, &Sample::wall_s);
  std::string text = fmt::format(
      "# Benchmarks: stitch\n\n2 x {0}x{0} 16-bit to {1}x{2}, median of {3}\n\n"
      "| {4:<34} | wall s | cpu s | peak MiB | x bare | by cpu | detail / this | stages, s (cpu s) "
      "|\n"
      "|-{5:-<34}-|-------:|------:|---------:|-------:|-------:|--------------:|------------------"
      "-|\n",
      options.frame_px, options.width_px, options.width_px / 2, options.repetitions, "what", "");
  for (const Row& row : rows) {
    const double wall = median_of(row, &Sample::wall_s);
    text += fmt::format(
        "| {:<34} | {:>6.2f} | {:>5.2f} | {:>8.0f} | {:>6.2f} | {:>6.2f} | {:>13} | {} |\n",
        row.name, wall, median_of(row, &Sample::cpu_s), median_of(row, &Sample::peak_mib),
        bare > 0 ? wall / bare : 0, bare_cpu > 0 ? median_of(row, &Sample::cpu_s) / bare_cpu : 0,
        detail > 0 && wall > 0 ? fmt::format("{:.2f}", detail / wall) : "",
        stages_in_words(median_stages(row)));
  }
  return text;
}

std::string json_of(const Options& options, const std::vector<Row>& rows) {
  const double bare = figure_of(rows, kBare, &Sample::wall_s);
  const double bare_cpu = figure_of(rows, kBare, &Sample::cpu_s);
  ordered_json all{{"kernel", "stitch"},
                   {"width_px", options.width_px},
                   {"frame_px", options.frame_px},
                   {"repetitions", options.repetitions},
                   {"rows", ordered_json::array()}};
  for (const Row& row : rows) {
    ordered_json one{{"name", row.name},
                     {"wall_s", median_of(row, &Sample::wall_s)},
                     {"cpu_s", median_of(row, &Sample::cpu_s)},
                     {"peak_mib", median_of(row, &Sample::peak_mib)},
                     {"cores", row.cores}};
    if (bare > 0) one["ratio_to_bare"] = median_of(row, &Sample::wall_s) / bare;
    if (bare_cpu > 0) one["cpu_ratio_to_bare"] = median_of(row, &Sample::cpu_s) / bare_cpu;
    for (const StageSeconds& stage : median_stages(row)) {
      one["stages_s"][stage.stage] = stage.s;
      one["stages_cpu_s"][stage.stage] = stage.cpu_s;
    }
    all["rows"].push_back(std::move(one));
  }
  return all.dump(2) + "\n";
}

Result<void> write_report(const Options& options, const std::vector<Row>& rows) {
  const std::string markdown = markdown_of(options, rows);
  std::fputs(markdown.c_str(), stdout);
  const fs::path folder = fs::path("out") / "bench";
  fs::create_directories(folder);
  const std::string name = fmt::format("stitch_{}", options.width_px);
  if (auto done = write_file(folder / (name + ".md"), markdown); !done) return done;
  return write_file(folder / (name + ".json"), json_of(options, rows));
}

// As a child: one reference, or our own stages.
Result<std::vector<StageSeconds>> be(const std::vector<std::string>& words) {
  const auto body = read_template(words[1]);
  if (!body) return tl::unexpected(body.error());
  const std::vector<fs::path> frames{words[2], words[3]};
  const fs::path& out = words[4];
  const int width = std::stoi(words[5]);
  const int frame_px = cv::imread(words[2], cv::IMREAD_REDUCED_GRAYSCALE_8).cols * 8;
  const Rig rig = body->rig().scaled_to(frame_px, frame_px);
  if (words[0] == "cubic") return bare_remap(rig, frames, out, width, cv::INTER_CUBIC);
  if (words[0] == "lanczos") return bare_remap(rig, frames, out, width, cv::INTER_LANCZOS4);
  if (words[0] == "detail") return detail_pipeline(rig, frames, out, width);
  return our_stages(rig, frames, out, width, words[0] == "stages-depth");
}

Result<void> bench(const Options& options) {
  if (auto made = make_scene(options); !made) return made;
  std::vector<Row> rows = rows_of(options, scene_of(options, options.frame_px));
  for (int round = 0; round < options.repetitions; ++round) {
    for (Row& row : rows) {
      std::fprintf(stderr, "round %d of %d: %s\n", round + 1, options.repetitions,
                   row.name.c_str());
      if (auto done = run_once(row); !done) return done;
    }
  }
  return write_report(options, rows);
}

std::optional<Options> parsed(int argc, char** argv) {
  Options options;
  options.self = fs::absolute(argv[0]);
  options.scene = fs::path("out") / "bench" / "scene";
  const KnownOptions known{
      {"--width", [&](const char* text) { options.width_px = std::stoi(text); }},
      {"--frame", [&](const char* text) { options.frame_px = std::stoi(text); }},
      {"--repetitions", [&](const char* text) { options.repetitions = std::stoi(text); }},
      {"--program", [&](const char* text) { options.program = text; }},
      {"--rows", [&](const char* text) { options.rows = text; }}};
  if (!read_options(argc, argv, known)) return std::nullopt;
  return options;
}

int end_with(const Error& error) {
  std::fprintf(stderr, "%s\n", error.line().c_str());
  return 1;
}

}  // namespace
}  // namespace seamwright::bench

int main(int argc, char** argv) {
  using namespace seamwright::bench;
  constexpr int kChildWords = 8;
  if (argc == kChildWords && std::string(argv[1]) == "--as") {
    const auto stages = be({argv + 2, argv + argc});
    if (!stages) return end_with(stages.error());
    std::puts(told(*stages).c_str());
    return 0;
  }
  const auto options = parsed(argc, argv);
  if (!options) {
    std::fprintf(stderr,
                 "usage: %s [--width PX] [--frame PX] [--repetitions N] [--program FILE] "
                 "[--rows TEXT]\n",
                 argv[0]);
    return 1;
  }
  if (const auto done = bench(*options); !done) return end_with(done.error());
  return 0;
}
