#include "apps/cli/archive_report.h"

#include <algorithm>
#include <filesystem>
#include <string_view>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/readable_text.h"

namespace seamwright {
namespace fs = std::filesystem;

void tell_damage(const Console& console, const RunReport& report, bool verify) {
  if (report.damaged_lines > 0) {
    console.say(
        fmt::format("finding: {} lines of the journal are damaged; what they told is done again, "
                    "and later runs pass them over",
                    report.damaged_lines));
  }
  for (const fs::path& output : report.decayed) {
    console.say(fmt::format(
        "finding: {} no longer holds what was written, though nothing has written to it since: "
        "check the disk{}",
        output.string(),
        verify ? std::string() : console.in_words(", and run with 'verify' to read everything")));
  }
}

bool all_is_well(const RunReport& report, bool dry_run) {
  const auto item_is_well = [&](const ItemOutcome& item) {
    return item.state != ItemState::failed && item.findings.empty() &&
           (dry_run || item.state != ItemState::to_do);
  };
  return report.damaged_lines == 0 && report.decayed.empty() &&
         std::all_of(report.items.begin(), report.items.end(), item_is_well);
}

Outcome outcome_of(const RunReport& report) {
  if (!report.items.empty() &&
      report.count(ItemState::failed) == static_cast<int>(report.items.size())) {
    return Outcome::user_error;
  }
  return all_is_well(report) ? Outcome::done : Outcome::findings;
}

nlohmann::json archive_json(const RunReport& report) {
  nlohmann::json decayed = nlohmann::json::array();
  for (const fs::path& output : report.decayed) {
    decayed.push_back(readable_text(output.string()));
  }
  nlohmann::json left_behind = nlohmann::json::array();
  for (const fs::path& file : report.left_behind) {
    left_behind.push_back(readable_text(file.string()));
  }
  return {{"stopped", report.stopped},
          {"damaged_lines", report.damaged_lines},
          {"read_again", report.read_again},
          {"decayed", decayed},
          {"left_behind", left_behind}};
}

nlohmann::json items_json(const RunReport& report, const Console& console) {
  constexpr std::string_view kStates[] = {"unchanged", "done", "to_do", "failed"};
  nlohmann::json items = nlohmann::json::array();
  for (const ItemOutcome& item : report.items) {
    items.push_back({{"name", readable_text(item.name)},
                     {"state", kStates[static_cast<std::size_t>(item.state)]},
                     {"why", console.in_words(item.why)},
                     {"findings", console.in_words(item.findings)},
                     {"seconds", item.seconds}});
  }
  return items;
}

}  // namespace seamwright
