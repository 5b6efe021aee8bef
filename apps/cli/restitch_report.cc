#include "apps/cli/restitch_report.h"

#include <algorithm>
#include <filesystem>
#include <set>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/archive_report.h"
#include "apps/cli/restitch_slurm.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

std::string duration_words(double seconds) {
  if (seconds < 90) return fmt::format("{:.0f} s", seconds);
  if (seconds < 5400) return fmt::format("{:.0f} min", seconds / 60);
  return fmt::format("{:.1f} h", seconds / 3600);
}

// The words of a shell that learn a body from these shots.
std::string learn_command(const Restitch& restitch, const std::vector<std::string>& items) {
  std::string command = "seamwright learn";
  for (const std::string& item : items) {
    const auto shot = restitch.open(item);
    if (!shot) continue;
    command += " --shot";
    for (const fs::path& frame : shot->files.frames) command += " " + shell_word(frame.string());
  }
  return command + " --out new.template.yaml";
}

bool contains(const std::optional<SharedKnock>& knock, const std::string& item) {
  return knock && std::find(knock->shots.begin(), knock->shots.end(), item) != knock->shots.end();
}

}  // namespace

std::string RestitchTeller::state_words(const ItemOutcome& item) const {
  switch (item.state) {
    case ItemState::unchanged:
      return "done before";
    case ItemState::done:
      return fmt::format("stitched ({})", item.why);
    case ItemState::failed: {
      // The remedy follows at the end, once where shots share it.
      const auto fit = restitch_.day_fit().of(item.name);
      if (fit && fit->verdict == FitVerdict::refused) return "refused: " + fit->words;
      return "failed: " + console_.in_words(item.why);
    }
    case ItemState::to_do:
      break;
  }
  return fmt::format("to do ({})", item.why);
}

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
  tell_damage(console_, report, options_.verify);
  if (options_.verify) {
    console_.say(fmt::format("the panoramas of {} shots were read again", report.read_again));
  }
  tell_failures(report);
  tell_notes(report);
  for (const ItemOutcome& item : report.items) {
    for (const std::string& finding : item.findings) {
      console_.say(fmt::format("{}: finding: {}", item.name, console_.in_words(finding)));
    }
  }
  console_.say(fmt::format("{} stitched, {} done before, {} failed, {} to do{}",
                           report.count(ItemState::done), report.count(ItemState::unchanged),
                           report.count(ItemState::failed), report.count(ItemState::to_do),
                           report.stopped ? "; stopped: start again to go on" : ""));
  tell_left_behind(report);
  if (options_.dry_run) tell_estimate(report);
}

void RestitchTeller::tell_failures(const RunReport& report) const {
  const auto shared = restitch_.day_fit().shared_refusal();
  if (shared) {
    console_.say(shared->words + "; " +
                 console_.in_words(shared->remedy + "; 'anyway' stitches them all the same"));
  }
  for (const ItemOutcome& item : report.items) {
    if (item.state != ItemState::failed) continue;
    if (shared && restitch_.day_fit().of(item.name)) continue;
    console_.say(fmt::format("{}: failed: {}", item.name, console_.in_words(item.why)));
  }
}

// One line, however many there are: tiles are many.
void RestitchTeller::tell_left_behind(const RunReport& report) const {
  if (!options_.all_said || report.left_behind.empty()) return;
  std::vector<std::string> names;
  std::set<fs::path> folders;
  for (const fs::path& file : report.left_behind) {
    const fs::path within = file.lexically_relative(options_.folder);
    const fs::path first = *within.begin();
    if (first == within) {
      names.push_back(first.string());
    } else if (folders.insert(first).second) {
      names.push_back((first / "").string());
    }
  }
  console_.say(fmt::format(
      "note: {} in {}: written by earlier runs, and of no shot as the run file has it now; they "
      "stay until you remove them",
      fmt::join(names, ", "), options_.folder.string()));
}

void RestitchTeller::tell_notes(const RunReport& report) const {
  const auto knock = restitch_.day_fit().shared_knock();
  if (knock) tell_knock(*knock);
  for (const ItemOutcome& item : report.items) {
    if (contains(knock, item.name)) continue;
    for (const std::string& note : restitch_.notes_of(item.name)) {
      console_.say(fmt::format("{}: note: {}", item.name, console_.in_words(note)));
    }
  }
}

void RestitchTeller::tell_knock(const SharedKnock& knock) const {
  console_.say("note: " + knock.words +
               "; learn it again from these: " + learn_command(restitch_, knock.shots));
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

nlohmann::json as_json(const RunReport& report, const Restitch& restitch, const Console& console) {
  nlohmann::json items = items_json(report, console);
  for (std::size_t i = 0; i < report.items.size(); ++i) {
    const std::string& name = report.items[i].name;
    items[i]["notes"] = console.in_words(restitch.notes_of(name));
    if (const auto fit = restitch.day_fit().of(name)) {
      items[i]["fit"] = {{"verdict", name_of(fit->verdict)}, {"cause", name_of(fit->cause)}};
    }
  }
  nlohmann::json object = archive_json(report);
  object["shots"] = std::move(items);
  return object;
}

}  // namespace seamwright
