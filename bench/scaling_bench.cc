// How a whole stitch grows: with the panorama's width, the number of lenses, and threads.
//
// Bodies of two, four and six lenses (the starting geometries, templates/rig_template.h) photograph
// the demo's library, once. Every row is a program of its own, run in turn, `--repetitions` rounds;
// the table gives medians.
//
//   bench_scaling [--repetitions N] [--program FILE] [--rows TEXT]

#include <algorithm>
#include <cstdio>
#include <filesystem>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/demo/render.h"
#include "base/file.h"
#include "bench/child_process.h"
#include "bench/options.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"

namespace seamwright::bench {
namespace {

namespace fs = std::filesystem;
using nlohmann::ordered_json;

struct Options {
  int repetitions = 3;
  std::string program = "build/seamwright";
  std::string rows;  // only rows whose name holds this
};

struct Ring {
  int lenses;
  const char* starter;
};
constexpr Ring kTwo{2, "two-back-to-back"};
constexpr Ring kFour{4, "four-ring"};
constexpr Ring kSix{6, "six-ring"};

struct Scene {
  fs::path body;
  std::vector<fs::path> frames;
};

Scene scene_of(const Ring& ring, int frame_px) {
  const fs::path folder =
      fs::path("out") / "bench" / fmt::format("{}_lenses_{}", ring.lenses, frame_px);
  Scene scene{folder / "body.template.yaml", {}};
  for (int i = 0; i < ring.lenses; ++i) {
    scene.frames.push_back(folder / fmt::format("lens_{}.tif", i));
  }
  return scene;
}

// Frames of one stand, photographed once.
Result<Scene> photographed(const Ring& ring, int frame_px) {
  const Scene scene = scene_of(ring, frame_px);
  if (fs::exists(scene.body)) return scene;
  std::fprintf(stderr, "photographing %d frames of %d px, once\n", ring.lenses, frame_px);
  fs::create_directories(scene.body.parent_path());
  const auto body = starter_template(ring.starter, frame_px, frame_px);
  if (!body) return tl::unexpected(body.error());
  DemoOptions options;
  options.frame_px = frame_px;
  auto studio = demo::Studio::open(options);
  if (!studio) return tl::unexpected(studio.error());
  studio->body = body->rig();
  const std::vector<DemoShot> shots = demo_shots();
  const auto shot = std::ranges::find(shots, "library_1", &DemoShot::name);
  for (int i = 0; i < ring.lenses; ++i) {
    const auto frame = demo::render_frame(*studio, *shot, i, options, {});
    if (!frame) return tl::unexpected(frame.error());
    const auto done = write_image(scene.frames[static_cast<std::size_t>(i)], *frame);
    if (!done) return tl::unexpected(done.error());
  }
  if (auto done = write_template(scene.body, *body); !done) return tl::unexpected(done.error());
  return scene;
}

struct Row {
  Ring ring;
  int frame_px = 4000;
  int width_px = 8192;
  const char* seam = "plain";
  int cores = 2;
  std::vector<ChildFigures> samples{};

  [[nodiscard]] std::string name() const {
    return fmt::format("{} lenses of {}, {} px, {}, {} thread{}", ring.lenses, frame_px, width_px,
                       seam, cores, cores == 1 ? "" : "s");
  }
  [[nodiscard]] double median(double ChildFigures::*figure) const {
    std::vector<double> values;
    for (const ChildFigures& sample : samples) values.push_back(sample.*figure);
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return values.empty() ? 0 : *middle;
  }
};

std::vector<Row> rows_of(const Options& options) {
  std::vector<Row> rows;
  for (const char* seam : {"plain", "depth"}) {
    for (const int cores : {2, 1}) {
      for (const int width_px : {2048, 4096, 8192, 16384, 32768}) {
        rows.push_back({kTwo, 4000, width_px, seam, cores});
      }
    }
    for (const Ring& ring : {kTwo, kFour, kSix}) rows.push_back({ring, 2000, 8192, seam, 2});
  }
  std::erase_if(rows,
                [&](const Row& row) { return row.name().find(options.rows) == std::string::npos; });
  return rows;
}

Result<void> run_once(const Options& options, Row& row) {
  const auto scene = photographed(row.ring, row.frame_px);
  if (!scene) return tl::unexpected(scene.error());
  const fs::path out = fs::path("out") / "bench" / "scaling.tif";
  std::vector<std::string> command{options.program, "stitch", "--template", scene->body.string()};
  for (const fs::path& frame : scene->frames) command.push_back(frame.string());
  for (const std::string& word :
       {std::string("--out"), out.string(), std::string("--width"), std::to_string(row.width_px),
        std::string("--seam"), std::string(row.seam)}) {
    command.push_back(word);
  }
  constexpr int kFindings = 2;
  auto figures = run_child(command, row.cores, kFindings);
  if (!figures) return tl::unexpected(figures.error());
  row.samples.push_back(std::move(*figures));
  fs::remove(out);
  return {};
}

Result<void> write_report(const Options& options, const std::vector<Row>& rows) {
  std::string text = fmt::format(
      "# Benchmarks: scaling\n\nmedian of {}\n\n| {:<48} | wall s | cpu s | ns a pixel | peak MiB "
      "|\n|-{:-<48}-|-------:|------:|-----------:|---------:|\n",
      options.repetitions, "stitch", "");
  ordered_json all{{"kernel", "scaling"}, {"repetitions", options.repetitions}};
  for (const Row& row : rows) {
    const double wall_s = row.median(&ChildFigures::wall_s);
    const double cpu_s = row.median(&ChildFigures::cpu_s);
    const double peak_mib = row.median(&ChildFigures::peak_mib);
    const double pixels = 0.5 * row.width_px * row.width_px;
    text += fmt::format("| {:<48} | {:>6.2f} | {:>5.2f} | {:>10.1f} | {:>8.0f} |\n", row.name(),
                        wall_s, cpu_s, 1e9 * cpu_s / pixels, peak_mib);
    all["rows"].push_back(
        {{"name", row.name()}, {"wall_s", wall_s}, {"cpu_s", cpu_s}, {"peak_mib", peak_mib}});
  }
  std::fputs(text.c_str(), stdout);
  const fs::path folder = fs::path("out") / "bench";
  if (auto done = write_file(folder / "scaling.md", text); !done) return done;
  return write_file(folder / "scaling.json", all.dump(2) + "\n");
}

Result<void> bench(const Options& options) {
  std::vector<Row> rows = rows_of(options);
  for (int round = 0; round < options.repetitions; ++round) {
    for (Row& row : rows) {
      std::fprintf(stderr, "round %d of %d: %s\n", round + 1, options.repetitions,
                   row.name().c_str());
      if (auto done = run_once(options, row); !done) return done;
    }
  }
  return write_report(options, rows);
}

std::optional<Options> parsed(int argc, char** argv) {
  Options options;
  const KnownOptions known{
      {"--repetitions", [&](const char* text) { options.repetitions = std::stoi(text); }},
      {"--program", [&](const char* text) { options.program = text; }},
      {"--rows", [&](const char* text) { options.rows = text; }}};
  if (!read_options(argc, argv, known)) return std::nullopt;
  return options;
}

}  // namespace
}  // namespace seamwright::bench

int main(int argc, char** argv) {
  using namespace seamwright::bench;
  const auto options = parsed(argc, argv);
  if (!options) {
    std::fprintf(stderr, "usage: %s [--repetitions N] [--program FILE] [--rows TEXT]\n", argv[0]);
    return 1;
  }
  if (const auto done = bench(*options); !done) {
    std::fprintf(stderr, "%s\n", done.error().line().c_str());
    return 1;
  }
  return 0;
}
