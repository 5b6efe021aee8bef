#include "jobs/restitch/run_panoramas.h"

#include <map>
#include <system_error>
#include <utility>

#include "base/user_error.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

RunPanorama missing(const std::string& name, Error failure) {
  return {.name = name, .shot = {}, .file = {}, .middle_deg = 0, .failure = std::move(failure)};
}

}  // namespace

std::vector<RunPanorama> run_panoramas(RestitchOrder order) {
  const double usual_deg = order.wishes.level.middle_deg;
  std::map<std::string, double> middle_deg;
  for (const auto& [shot, wishes] : order.exceptions) middle_deg[shot] = wishes.level.middle_deg;
  const Restitch run(std::move(order));
  std::vector<RunPanorama> panoramas;
  for (const ArchiveItem& item : run.items()) {
    if (item.failure) {
      panoramas.push_back(missing(item.name, *item.failure));
      continue;
    }
    const fs::path& file = item.outputs.front();
    std::error_code code;
    if (!fs::exists(file, code)) {
      panoramas.push_back(missing(item.name, user_error(file.string(), {}, "is not stitched yet",
                                                        "stitch the run first, with 'restitch'")));
      continue;
    }
    const std::string& shot = run.name_of(item.name);
    const auto exception = middle_deg.find(shot);
    panoramas.push_back(
        {.name = file.stem().string(),
         .shot = shot,
         .file = file,
         .middle_deg = exception == middle_deg.end() ? usual_deg : exception->second,
         .failure = {}});
  }
  return panoramas;
}

}  // namespace seamwright
