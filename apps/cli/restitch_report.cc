#include "apps/cli/restitch_report.h"

#include <filesystem>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/readable_text.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

std::string duration_words(double seconds) {
  if (seconds < 90) return fmt::format("{:.0f} s", seconds);
  if (seconds < 5400) return fmt::format("{:.0f} min", seconds / 60);
  return fmt::format("{:.1f} h", seconds / 3600);
}

std::string state_words(const ItemOutcome& item) {
  switch (item.state) {
    case ItemState::unchanged:
      return "done before";
    case ItemState::done:
      return fmt::format("stitched ({})", item.why);
    case ItemState::failed:
      return "failed: " + item.why;
    case ItemState::to_do:
      break;
  }
  return fmt::format("to do ({})", item.why);
}

}  // namespace

bool RestitchTeller::tell_one(const ItemOutcome& item, int at, int of) {
  const std::size_t bad = item.state == ItemState::failed ? 1000 : item.findings.size();
  if (bad > worst_findings_) {
    worst_findings_ = bad;
    worst_ = item.name;
  }
  if (item.state == ItemState::done) {
    ++stitched_;
    spent_s_ += item.seconds;
  }
  std::string line = fmt::format("{}/{} {}: {}", at, of, item.name, state_words(item));
  if (item.state == ItemState::done) {
    line +=
        fmt::format(" in {:.1f} s; {:.0f} an hour, {} left", item.seconds,
                    3600 * stitched_ / spent_s_, duration_words(spent_s_ / stitched_ * (of - at)));
  }
  if (!worst_.empty()) line += fmt::format("; look at {}", worst_);
  console_.say(line);
  return console_.progress()({.stage = "restitching", .fraction = 1.0 * at / of});
}

void RestitchTeller::tell_all(const RunReport& report) const {
  if (report.damaged_lines > 0) {
    console_.say(
        fmt::format("finding: {} lines of the journal are damaged; what they told is done again, "
                    "and later runs pass them over",
                    report.damaged_lines));
  }
  for (const fs::path& output : report.decayed) {
    console_.say(fmt::format(
        "finding: {} no longer holds what was written, though nothing has written to it since: "
        "check the disk{}",
        output.string(), options_.verify ? "" : ", and run with --verify to read everything"));
  }
  if (options_.verify) {
    console_.say(fmt::format("the panoramas of {} shots were read again", report.read_again));
  }
  for (const ItemOutcome& item : report.items) {
    if (item.state == ItemState::failed)
      console_.say(fmt::format("{}: failed: {}", item.name, item.why));
  }
  for (const ItemOutcome& item : report.items) {
    for (const std::string& finding : item.findings) {
      console_.say(fmt::format("{}: finding: {}", item.name, finding));
    }
  }
  console_.say(fmt::format("{} stitched, {} done before, {} failed, {} to do{}",
                           report.count(ItemState::done), report.count(ItemState::unchanged),
                           report.count(ItemState::failed), report.count(ItemState::to_do),
                           report.stopped ? "; stopped: start again to go on" : ""));
  if (options_.dry_run) tell_estimate(report);
}

// Disk by what TIFFs of that width take, time by what shots took before.
void RestitchTeller::tell_estimate(const RunReport& report) const {
  const int count = report.count(ItemState::to_do);
  if (count == 0) return;
  if (options_.width_px != 0) {
    const double width = options_.width_px;
    console_.say(fmt::format("about {:.0f} MB of uncompressed TIFF to write",
                             0.5e-6 * width * width * 6 * count));
  }
  console_.say(report.usual_seconds > 0
                   ? fmt::format("about {} at {:.1f} s a shot, as before",
                                 duration_words(count * report.usual_seconds), report.usual_seconds)
                   : "how long a shot takes is not known yet");
}

nlohmann::json as_json(const RunReport& report) {
  constexpr std::string_view kStates[] = {"unchanged", "done", "to_do", "failed"};
  nlohmann::json items = nlohmann::json::array();
  for (const ItemOutcome& item : report.items) {
    items.push_back({{"name", readable_text(item.name)},
                     {"state", kStates[static_cast<std::size_t>(item.state)]},
                     {"why", item.why},
                     {"findings", item.findings},
                     {"seconds", item.seconds}});
  }
  nlohmann::json decayed = nlohmann::json::array();
  for (const fs::path& output : report.decayed) {
    decayed.push_back(readable_text(output.string()));
  }
  return {{"stopped", report.stopped},
          {"damaged_lines", report.damaged_lines},
          {"read_again", report.read_again},
          {"decayed", decayed},
          {"shots", items}};
}

}  // namespace seamwright
