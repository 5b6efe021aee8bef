#include "workbench/edit.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <set>

#include <fmt/format.h>

namespace seamwright::workbench {

namespace {

constexpr std::size_t kMostTies = 1000;
constexpr std::size_t kMostStrokes = 500;
constexpr std::size_t kMostPlaces = 2000;
constexpr double kMostSigma_px = 1000;

Error refused(std::string field, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = {},
          .field = std::move(field),
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

template <class T>
std::optional<Error> take_off(std::vector<T>& list, int index, const char* kind) {
  if (index < 0 || index >= static_cast<int>(list.size())) {
    return refused("index", fmt::format("there is no {} {}", kind, index), "read the shot again");
  }
  list.erase(list.begin() + index);
  return std::nullopt;
}

std::optional<Error> check(const ManualTie& tie, int lens_count) {
  if (!(tie.sigma_px > 0) || tie.sigma_px > kMostSigma_px) {
    return refused("sigma_px", fmt::format("{:g} is no spread in pixels", tie.sigma_px),
                   "give more than 0 and at most 1000");
  }
  std::set<int> lenses;
  for (const ManualSight& sight : tie.sights) {
    if (sight.lens < 0 || sight.lens >= lens_count || !sight.px.allFinite()) {
      return refused("sights",
                     fmt::format("lens {} is not there, or its place is no number", sight.lens),
                     fmt::format("the body has lenses 0 to {}", lens_count - 1));
    }
    lenses.insert(sight.lens);
  }
  if (tie.sights.size() >= 2 && lenses.size() == tie.sights.size()) return std::nullopt;
  return refused("sights", "a tie needs two or more sights, each by another lens",
                 "give one sight a lens");
}

std::optional<Error> check(const SeamStroke& stroke, int lens_count) {
  const bool lens_there = stroke.lens >= 0 && stroke.lens < lens_count;
  if (stroke.wish == StrokeWish::lens && !lens_there) {
    return refused("lens", fmt::format("there is no lens {}", stroke.lens),
                   fmt::format("the body has lenses 0 to {}", lens_count - 1));
  }
  if (!(stroke.reach_rad > 0) || stroke.reach_rad > kPi / 2) {
    return refused("reach_rad", fmt::format("{:g} is no reach of a brush", stroke.reach_rad),
                   "give more than 0 and at most a quarter turn");
  }
  const bool finite = std::all_of(stroke.path.begin(), stroke.path.end(),
                                  [](const PanoramaPlace& place) { return place.valid(); });
  if (finite && !stroke.path.empty() && stroke.path.size() <= kMostPlaces) return std::nullopt;
  return refused("path_rad", "is no line on the panorama",
                 fmt::format("give 1 to {} places, longitude and latitude", kMostPlaces));
}

Result<std::size_t> index_of(const EditState& state, int id) {
  for (std::size_t i = 0; i < state.ties.size(); ++i) {
    if (state.ties[i].id == id) return i;
  }
  return fail(refused("id", fmt::format("there is no tie {}", id), "read the shot again"));
}

struct Applier {
  EditState state;
  int lens_count;

  Result<EditState> operator()(const AddTie& edit) {
    if (auto error = check(edit.tie, lens_count)) return fail(std::move(*error));
    if (state.ties.size() >= kMostTies) {
      return fail(refused("ties", fmt::format("there are {} already", kMostTies), "remove some"));
    }
    state.ties.push_back({state.next_id++, edit.tie, true});
    return std::move(state);
  }
  Result<EditState> operator()(const ChangeTie& edit) {
    if (auto error = check(edit.tie, lens_count)) return fail(std::move(*error));
    const auto index = index_of(state, edit.id);
    if (!index) return tl::unexpected(index.error());
    state.ties[*index].tie = edit.tie;
    return std::move(state);
  }
  Result<EditState> operator()(const SwitchTie& edit) {
    const auto index = index_of(state, edit.id);
    if (!index) return tl::unexpected(index.error());
    state.ties[*index].on = edit.on;
    return std::move(state);
  }
  Result<EditState> operator()(const RemoveTie& edit) {
    const auto index = index_of(state, edit.id);
    if (!index) return tl::unexpected(index.error());
    state.ties.erase(state.ties.begin() + static_cast<std::ptrdiff_t>(*index));
    return std::move(state);
  }
  Result<EditState> operator()(const AddStroke& edit) {
    if (auto error = check(edit.stroke, lens_count)) return fail(std::move(*error));
    if (state.strokes.size() >= kMostStrokes) {
      return fail(
          refused("strokes", fmt::format("there are {} already", kMostStrokes), "remove some"));
    }
    state.strokes.push_back(edit.stroke);
    return std::move(state);
  }
  Result<EditState> operator()(const RemoveStroke& edit) {
    if (auto error = take_off(state.strokes, edit.index, "stroke")) return fail(std::move(*error));
    return std::move(state);
  }
  Result<EditState> operator()(const AddVertical& edit) {
    if (auto error = edit.edge.validate()) return fail(std::move(*error));
    if (state.verticals.size() >= UprightEdge::kMostOfShot) {
      return fail(refused("verticals",
                          fmt::format("there are {} already", UprightEdge::kMostOfShot),
                          "remove some"));
    }
    state.verticals.push_back(edit.edge);
    return std::move(state);
  }
  Result<EditState> operator()(const RemoveVertical& edit) {
    if (auto error = take_off(state.verticals, edit.index, "upright edge")) {
      return fail(std::move(*error));
    }
    return std::move(state);
  }
};

}  // namespace

const BenchTie* EditState::find(int id) const {
  const auto found =
      std::find_if(ties.begin(), ties.end(), [&](const BenchTie& tie) { return tie.id == id; });
  return found == ties.end() ? nullptr : &*found;
}

std::vector<ManualTie> EditState::ties_in_use() const {
  std::vector<ManualTie> used;
  for (const BenchTie& tie : ties) {
    if (tie.on) used.push_back(tie.tie);
  }
  return used;
}

EditState state_of(const ShotFile& shot) {
  EditState state;
  for (const ManualTie& tie : shot.manual_ties) state.ties.push_back({state.next_id++, tie, true});
  state.strokes = shot.seam;
  state.verticals = shot.verticals;
  return state;
}

Result<EditState> after(const EditState& state, const Edit& edit, int lens_count) {
  return std::visit(Applier{state, lens_count}, edit);
}

}  // namespace seamwright::workbench
