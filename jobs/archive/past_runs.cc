#include "jobs/archive/past_runs.h"

#include <variant>

namespace seamwright {

void PastRuns::take(const std::string& journal, const std::vector<nlohmann::json>& entries,
                    int damaged, bool own, Hashes& hashes) {
  for (const nlohmann::json& entry : entries) {
    const auto line = read_journal_line(entry);
    if (!line) {
      ++damaged;
      continue;
    }
    if (std::holds_alternative<RunLine>(*line) && own) ++own_runs;
    if (const auto* hash = std::get_if<HashLine>(&*line)) hashes.remember(*hash);
    if (const auto* begun = std::get_if<BeginLine>(&*line)) interrupted.insert(begun->name);
    if (const auto* failed = std::get_if<FailedLine>(&*line)) interrupted.erase(failed->name);
    if (const auto* told = std::get_if<DamageLine>(&*line))
      damage_told[told->journal] = told->lines;
    if (const auto* finished = std::get_if<DoneLine>(&*line)) {
      interrupted.erase(finished->name);
      seconds.push_back(finished->seconds);
      done[finished->name].push_back(*finished);
    }
  }
  damage[journal] = damaged;
}

std::vector<DamageLine> PastRuns::damage_to_tell() const {
  std::vector<DamageLine> untold;
  for (const auto& [journal, lines] : damage) {
    const auto told = damage_told.find(journal);
    if (told == damage_told.end() || lines > told->second) untold.push_back({journal, lines});
  }
  std::erase_if(untold, [](const DamageLine& line) { return line.lines == 0; });
  return untold;
}

}  // namespace seamwright
