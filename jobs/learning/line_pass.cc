#include "jobs/learning/line_pass.h"

#include <algorithm>
#include <cstddef>
#include <iterator>

namespace seamwright {

Result<std::vector<PlumbLine>> find_lines_of_shots(const std::vector<int>& shots,
                                                   const FrameSource& frames, const Rig& rig,
                                                   bool fine, const LinePassOptions& options,
                                                   const ProgressFn& progress) {
  std::vector<PlumbLine> lines;
  if (!options.enabled) return lines;
  PlumbLineOptions finding = options.lines;
  if (fine) finding.largest_curvature_per_rad = options.solved_curvature_per_rad;
  const auto count =
      std::min(shots.size(), static_cast<std::size_t>(std::max(0, options.most_shots)));
  for (std::size_t i = 0; i < count; ++i) {
    if (!tell(progress, "finding straight edges",
              static_cast<double>(i) / static_cast<double>(count))) {
      return fail({.kind = ErrorKind::cancelled, .what = "stopped"});
    }
    const int shot = shots[i * shots.size() / count];
    const auto loaded = frames(shot);
    if (!loaded) return fail(loaded.error());
    auto found = find_plumb_lines(*loaded, rig, shot, finding);
    if (!found) return fail(found.error());
    std::move(found->begin(), found->end(), std::back_inserter(lines));
  }
  return lines;
}

}  // namespace seamwright
