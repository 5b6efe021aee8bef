#include "jobs/restitch/run_look.h"

#include <cstddef>
#include <optional>
#include <vector>

#include "jobs/shot/shot_light.h"

namespace seamwright {

namespace {

// Nothing where the shot tells nothing. All that its panorama is made from and by stands in the
// key, though what it tells hangs on less: what is done anew is measured anew.
std::optional<RoomLight> told_by(const Restitch& restitch, const ArchiveItem& item,
                                 RoomLights& known) {
  const auto key = stamp_key(item.inputs, item.settings);
  if (key) {
    if (const auto light = known.of(*key)) return light;
  }
  const auto shot = restitch.open(item.name);
  if (!shot) return std::nullopt;
  auto light = room_light_of(*shot);
  if (!light) return std::nullopt;
  if (key && *light) known.put(*key, **light);
  return *light;
}

}  // namespace

Result<RunLookReport> decide_run_look(Restitch& restitch, const std::filesystem::path& folder,
                                      RoomLights::Keep keep, const ProgressFn& progress) {
  RunLookReport report;
  const std::vector<UndecidedLook> undecided = restitch.undecided_looks();
  if (undecided.empty()) return report;
  RoomLights known(folder, keep);
  std::vector<RoomLight> rooms;
  for (std::size_t i = 0; i < undecided.size(); ++i) {
    if (!tell(progress, "looking at the light",
              static_cast<double>(i) / static_cast<double>(undecided.size()))) {
      return fail(stopped_while("looking at the light"));
    }
    const ArchiveItem& item = restitch.items()[undecided[i].at];
    const auto light = told_by(restitch, item, known);
    if (!light) continue;
    report.rooms.emplace(item.name, *light);
    rooms.push_back(*light);
  }
  report.anchor = anchor_of(rooms);
  for (const UndecidedLook& one : undecided) {
    const auto room = report.rooms.find(restitch.items()[one.at].name);
    if (room == report.rooms.end()) continue;
    const LookReach& reach = one.bracketed ? kReachOfLight : kReachOfFrames;
    const DisplayLook look = look_of(one.wish, room->second, report.anchor, reach);
    const double wanted_ev = look_of(one.wish, room->second, report.anchor, {}).gain_ev;
    if (wanted_ev != look.gain_ev) report.lacking_ev[room->first] = wanted_ev - look.gain_ev;
    restitch.set_look(one.at, look);
    report.looks.emplace(room->first, look);
  }
  return report;
}

}  // namespace seamwright
