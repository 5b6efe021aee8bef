#include "bench/report.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <map>
#include <optional>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/file.h"

namespace seamwright::bench {

namespace {

// A benchmark's repetitions.
struct Runs {
  std::vector<double> ms;
  std::string failure;

  [[nodiscard]] double median_ms() const {
    if (ms.empty()) return 0;
    std::vector<double> sorted = ms;
    std::sort(sorted.begin(), sorted.end());
    const std::size_t middle = sorted.size() / 2;
    return sorted.size() % 2 == 1 ? sorted[middle] : 0.5 * (sorted[middle - 1] + sorted[middle]);
  }
};

// Keeps what the library reports; says only that a benchmark is done.
class Collector : public benchmark::BenchmarkReporter {
 public:
  bool ReportContext(const Context&) override { return true; }
  void ReportRuns(const std::vector<Run>& reported) override {
    for (const Run& run : reported) {
      if (run.run_type != Run::RT_Iteration) continue;
      const std::string& name = run.run_name.function_name;
      if (runs_.count(name) == 0) order_.push_back(name);
      Runs& runs = runs_[name];
      if (run.error_occurred) {
        runs.failure = run.error_message;
      } else {
        const double s_per_unit = 1 / benchmark::GetTimeUnitMultiplier(run.time_unit);
        runs.ms.push_back(1e3 * run.GetAdjustedCPUTime() * s_per_unit);
      }
    }
  }

  [[nodiscard]] const std::vector<std::string>& order() const { return order_; }
  [[nodiscard]] const Runs& of(const std::string& name) const { return runs_.at(name); }
  [[nodiscard]] bool has(const std::string& name) const { return runs_.count(name) != 0; }

 private:
  std::vector<std::string> order_;
  std::map<std::string, Runs> runs_;
};

std::string time_in_words(double ms) {
  if (ms >= 1000) return fmt::format("{:.2f} s", ms / 1000);
  if (ms >= 1) return fmt::format("{:.1f} ms", ms);
  if (ms >= 1e-3) return fmt::format("{:.1f} us", ms * 1e3);
  return fmt::format("{:.0f} ns", ms * 1e6);
}

struct Row {
  std::string name;
  double median_ms = 0;
  int repetitions = 0;
  std::string against;
  std::optional<double> ratio;
  double target_ms = 0;
  std::string failure;

  [[nodiscard]] bool missed() const { return target_ms > 0 && median_ms > target_ms; }
  [[nodiscard]] std::string verdict() const {
    if (!failure.empty()) return "FAILED: " + failure;
    if (target_ms > 0) {
      return fmt::format("{} of at most {}", missed() ? "MISSED" : "met", time_in_words(target_ms));
    }
    return ratio ? fmt::format("{:.2f} x {}", *ratio, against) : "";
  }
};

std::vector<Row> rows_of(const Collector& collected, const std::vector<Yardstick>& yardsticks) {
  std::vector<Row> rows;
  for (const std::string& name : collected.order()) {
    const Runs& runs = collected.of(name);
    Row row{name, runs.median_ms(), static_cast<int>(runs.ms.size()), {}, {}, 0, runs.failure};
    for (const Yardstick& yardstick : yardsticks) {
      if (yardstick.row != name) continue;
      row.target_ms = yardstick.target_ms;
      row.against = yardstick.against;
      if (!collected.has(row.against)) continue;
      const double other_ms = collected.of(row.against).median_ms();
      if (other_ms > 0) row.ratio = row.median_ms / other_ms;
    }
    rows.push_back(std::move(row));
  }
  return rows;
}

std::string markdown_of(const std::string& kernel, const std::vector<Row>& rows) {
  std::size_t width = 0;
  for (const Row& row : rows) width = std::max(width, row.name.size());
  std::string text = fmt::format("# Benchmarks: {}\n\n", kernel);
  text += fmt::format("| {:<{}} | median     | of | against |\n", "what", width);
  text += fmt::format("|-{:-<{}}-|-----------:|---:|---------|\n", "", width);
  for (const Row& row : rows) {
    text += fmt::format("| {:<{}} | {:>10} | {:>2} | {} |\n", row.name, width,
                        time_in_words(row.median_ms), row.repetitions, row.verdict());
  }
  return text;
}

std::string json_of(const std::string& kernel, const std::vector<Row>& rows) {
  nlohmann::ordered_json all{{"kernel", kernel}, {"rows", nlohmann::ordered_json::array()}};
  for (const Row& row : rows) {
    nlohmann::ordered_json one{
        {"name", row.name}, {"median_ms", row.median_ms}, {"repetitions", row.repetitions}};
    if (row.target_ms > 0) one["target_ms"] = row.target_ms;
    if (row.ratio) {
      one["against"] = row.against;
      one["ratio"] = *row.ratio;
    }
    if (!row.failure.empty()) one["failure"] = row.failure;
    all["rows"].push_back(std::move(one));
  }
  return all.dump(2) + "\n";
}

bool written(const std::filesystem::path& path, const std::string& text) {
  const auto done = write_file(path, text);
  if (!done) std::fprintf(stderr, "%s\n", done.error().line().c_str());
  return done.has_value();
}

}  // namespace

int run(int argc, char** argv, const std::string& kernel,
        const std::vector<Yardstick>& yardsticks) {
  benchmark::Initialize(&argc, argv);
  if (benchmark::ReportUnrecognizedArguments(argc, argv)) return 1;
  Collector collected;
  benchmark::RunSpecifiedBenchmarks(&collected);
  const std::vector<Row> rows = rows_of(collected, yardsticks);
  const std::string markdown = markdown_of(kernel, rows);
  std::fputs(markdown.c_str(), stdout);

  const std::filesystem::path folder = std::filesystem::path("out") / "bench";
  std::error_code ignored;  // the write below says what is wrong
  std::filesystem::create_directories(folder, ignored);
  bool good = written(folder / (kernel + ".md"), markdown);
  good = written(folder / (kernel + ".json"), json_of(kernel, rows)) && good;
  const bool bad_row = std::any_of(rows.begin(), rows.end(), [](const Row& row) {
    return row.missed() || !row.failure.empty();
  });
  return good && !bad_row ? 0 : 1;
}

}  // namespace seamwright::bench
