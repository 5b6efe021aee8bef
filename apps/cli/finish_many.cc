#include "apps/cli/finish_many.h"

#include <algorithm>
#include <filesystem>
#include <string>
#include <system_error>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/archive_report.h"
#include "apps/cli/intake_options.h"
#include "base/readable_text.h"
#include "jobs/archive/run.h"
#include "jobs/finishing/finish_many.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

std::string state_words(const ItemOutcome& item, const Console& console) {
  switch (item.state) {
    case ItemState::unchanged:
      return "done before";
    case ItemState::done:
      return fmt::format("finished ({}) in {:.1f} s", item.why, item.seconds);
    case ItemState::failed:
      return "failed: " + console.in_words(item.why);
    case ItemState::to_do:
      break;
  }
  return fmt::format("to do ({})", item.why);
}

void tell_all(const Console& console, const RunReport& report) {
  tell_damage(console, report, true);
  for (const ItemOutcome& item : report.items) {
    for (const std::string& finding : item.findings) {
      console.say(fmt::format("{}: finding: {}", item.name, console.in_words(finding)));
    }
  }
  console.say(fmt::format("{} finished, {} done before, {} failed, {} to do{}",
                          report.count(ItemState::done), report.count(ItemState::unchanged),
                          report.count(ItemState::failed), report.count(ItemState::to_do),
                          report.stopped ? "; stopped: start again to go on" : ""));
}

nlohmann::json as_json(const RunReport& report, const PanoramaList& list, const Console& console) {
  nlohmann::json companions = nlohmann::json::array();
  for (const fs::path& file : list.companions) companions.push_back(readable_text(file.string()));
  nlohmann::json answer = archive_json(report);
  answer["command"] = "finish";
  answer["panoramas"] = items_json(report, console);
  answer["passed_over"] = companions;
  answer["other_pictures"] = list.others;
  return answer;
}

void tell_list(const Console& console, const PanoramaList& list) {
  if (!list.companions.empty()) {
    console.say(
        fmt::format("{} files are passed over: the same panoramas once more, smaller or as light",
                    list.companions.size()));
  }
  if (list.others > 0) {
    console.say(fmt::format("{} pictures are passed over: they do not say that they are panoramas",
                            list.others));
  }
}

Result<FinishMany> open(const FinishOptions& options, const PanoramaList& list) {
  auto wish = options.wish();
  if (!wish) return tl::unexpected(wish.error());
  FinishOrder order{.panoramas = list.panoramas,
                    .wish = std::move(*wish),
                    .wanted = options.numbers(),
                    .floors = options.floors,
                    .out = options.into};
  if (!options.kinds.empty()) order.kinds = {options.kinds.begin(), options.kinds.end()};
  FinishMany many(std::move(order));
  if (auto error = many.refused()) return fail(std::move(*error));
  return many;
}

}  // namespace

Result<Outcome> finish_many(const FinishOptions& options, const Console& console) {
  if (auto error = options.check_many()) return fail(std::move(*error));
  const auto list = list_panoramas_and_runs(as_paths(options.inputs), console.progress());
  if (!list) return tl::unexpected(list.error());
  const auto many = open(options, *list);
  if (!many) return tl::unexpected(many.error());
  tell_list(console, *list);
  std::error_code code;
  fs::create_directories(options.into, code);
  RunOptions run{.folder = options.into};
  run.journal = FinishMany::kJournal;
  const auto report = run_archive(
      many->items(), run,
      [&](const ArchiveItem& item) { return many->finish(item, console.hushed().progress()); },
      [&](const ItemOutcome& item, int at, int of) {
        console.say(fmt::format("{}/{} {}: {}", at, of, item.name, state_words(item, console)));
        return console.progress()({.stage = "finishing", .fraction = 1.0 * at / of});
      });
  if (!report) return tl::unexpected(report.error());
  tell_all(console, *report);
  if (console.json()) console.answer(as_json(*report, *list, console));
  return outcome_of(*report);
}

}  // namespace seamwright
