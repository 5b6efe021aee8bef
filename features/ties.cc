#include "features/ties.h"

#include <cstddef>
#include <memory>

#include <fmt/format.h>

#include "features/lens_view.h"
#include "features/pair_ties.h"

namespace seamwright {

namespace {

template <class Field>
int total(const std::vector<PairTieReport>& pairs, Field field) {
  int sum = 0;
  for (const PairTieReport& pair : pairs) sum += pair.*field;
  return sum;
}

std::optional<Error> mismatch(std::span<const Image> frames, const Rig& rig) {
  if (frames.size() != rig.lenses.size()) {
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "frames",
                 .what = fmt::format("{} frames for {} lenses", frames.size(), rig.lenses.size()),
                 .remedy = "give one frame a lens, lens 0 first"};
  }
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const Lens& lens = rig.lenses[i].lens;
    if (frames[i].width() == lens.width_px && frames[i].height() == lens.height_px) continue;
    return Error{.kind = ErrorKind::user_input,
                 .where = {},
                 .field = fmt::format("frames[{}]", i),
                 .what = fmt::format("{} x {} px, the lens is for {} x {}", frames[i].width(),
                                     frames[i].height(), lens.width_px, lens.height_px),
                 .remedy = "scale the rig to the frames, or give frames of the rig's size"};
  }
  return std::nullopt;
}

}  // namespace

TieOptions TieOptions::cold_start(double rotation_rad, double focal_share) {
  TieOptions options;
  options.across_gate_rad = rotation_rad;
  options.along_slack_rad = rotation_rad + kPi * focal_share;
  options.refined = false;
  options.edge_ties = false;
  options.consensus.largest_rotation_rad = 1.5 * rotation_rad;
  options.consensus.largest_focal_change = 2 * focal_share;
  return options;
}

int TieReport::matched() const { return total(pairs, &PairTieReport::matched); }
int TieReport::consistent() const { return total(pairs, &PairTieReport::consistent); }
int TieReport::kept() const { return total(pairs, &PairTieReport::kept); }

Result<TieSet> find_ties(std::span<const Image> frames, const Rig& rig, int shot,
                         const TieOptions& options) {
  if (auto error = mismatch(frames, rig)) return fail(std::move(*error));
  if (auto error = rig.validate()) return fail(std::move(*error));
  std::vector<LensView> views;
  views.reserve(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i) {
    views.emplace_back(match_plane(frames[i]), rig.lenses[i]);
  }
  TieSet set;
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) {
      const auto grid = matching_grid(rig, a, b, options.margin_rad);
      if (!grid) continue;
      PairTies pair =
          find_pair_ties(views[static_cast<std::size_t>(a)], views[static_cast<std::size_t>(b)],
                         rig, a, b, *grid, shot, options);
      set.ties.insert(set.ties.end(), std::make_move_iterator(pair.ties.begin()),
                      std::make_move_iterator(pair.ties.end()));
      set.details.insert(set.details.end(), pair.details.begin(), pair.details.end());
      set.report.pairs.push_back(std::move(pair.report));
    }
  }
  return set;
}

}  // namespace seamwright
