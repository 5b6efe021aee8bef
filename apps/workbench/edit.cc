#include "apps/workbench/edit.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <set>

#include <fmt/format.h>

#include "base/user_error.h"
#include "templates/shot_limits.h"

namespace seamwright::workbench {

namespace {

// Where the one with that id stands in a list.
template <class T>
Result<std::ptrdiff_t> place_of_id(const std::vector<T>& list, int id, const char* kind) {
  const auto found =
      std::find_if(list.begin(), list.end(), [&](const T& one) { return one.id == id; });
  if (found != list.end()) return found - list.begin();
  return fail(option_error("id", fmt::format("there is no {} {}", kind, id),
                           "it may be gone by another window's hand: load the page again"));
}

// Whether one more fits.
Result<void> check_room(std::size_t count, std::size_t most, const char* kind) {
  if (count < most) return {};
  return fail(option_error(kind, fmt::format("there are {} already", most), "remove some"));
}

std::optional<Error> check(const ManualTie& tie, int lens_count) {
  if (!(tie.sigma_px > 0) || tie.sigma_px > kMostTieSigma_px) {
    return option_error("sigma_px", fmt::format("{:g} is no spread in pixels", tie.sigma_px),
                        fmt::format("give more than 0 and at most {}", kMostTieSigma_px));
  }
  std::set<int> lenses;
  for (const ManualSight& sight : tie.sights) {
    if (sight.lens < 0 || sight.lens >= lens_count || !sight.px.allFinite()) {
      return option_error(
          "sights", fmt::format("lens {} is not there, or its place is no number", sight.lens),
          fmt::format("the body has lenses 0 to {}", lens_count - 1));
    }
    lenses.insert(sight.lens);
  }
  if (tie.sights.size() >= 2 && lenses.size() == tie.sights.size()) return std::nullopt;
  return option_error("sights", "a tie needs two or more sights, each by another lens",
                      "give one sight a lens");
}

std::optional<Error> check(const SeamStroke& stroke, int lens_count) {
  const bool lens_there = stroke.lens >= 0 && stroke.lens < lens_count;
  if (stroke.wish == StrokeWish::lens && !lens_there) {
    return option_error("lens", fmt::format("there is no lens {}", stroke.lens),
                        fmt::format("the body has lenses 0 to {}", lens_count - 1));
  }
  if (!(stroke.reach_rad > 0) || stroke.reach_rad > kPi / 2) {
    return option_error("reach_rad", fmt::format("{:g} is no reach of a brush", stroke.reach_rad),
                        "give more than 0 and at most a quarter turn");
  }
  const bool finite = std::all_of(stroke.path.begin(), stroke.path.end(),
                                  [](const PanoramaPlace& place) { return place.valid(); });
  if (finite && !stroke.path.empty() && stroke.path.size() <= kMostPlacesOfStroke)
    return std::nullopt;
  return option_error(
      "path_rad", "is no line on the panorama",
      fmt::format("give 1 to {} places, longitude and latitude", kMostPlacesOfStroke));
}

std::size_t places_in(const std::vector<EditedStroke>& strokes) {
  std::size_t places = 0;
  for (const EditedStroke& one : strokes) places += one.stroke.path.size();
  return places;
}

struct Applier {
  EditState state;
  int lens_count;

  Result<EditState> operator()(const AddTie& edit) {
    if (auto error = check(edit.tie, lens_count)) return fail(std::move(*error));
    if (auto room = check_room(state.ties.size(), kMostTiesOfShot, "ties"); !room) {
      return tl::unexpected(room.error());
    }
    state.ties.push_back({state.next.tie++, edit.tie, true});
    return std::move(state);
  }
  Result<EditState> operator()(const ChangeTie& edit) {
    if (auto error = check(edit.tie, lens_count)) return fail(std::move(*error));
    return changed(edit.id, [&](EditedTie& tie) { tie.tie = edit.tie; });
  }
  Result<EditState> operator()(const SwitchTie& edit) {
    return changed(edit.id, [&](EditedTie& tie) { tie.on = edit.on; });
  }
  Result<EditState> operator()(const RemoveTie& edit) {
    return without(state.ties, edit.id, "tie");
  }
  Result<EditState> operator()(const AddStroke& edit) {
    if (auto error = check(edit.stroke, lens_count)) return fail(std::move(*error));
    if (auto room = check_room(state.strokes.size(), kMostStrokesOfShot, "strokes"); !room) {
      return tl::unexpected(room.error());
    }
    if (places_in(state.strokes) + edit.stroke.path.size() > kMostPlacesOfShot) {
      return fail(option_error(
          "strokes", fmt::format("they would hold more than {} places", kMostPlacesOfShot),
          "remove some, or draw shorter ones"));
    }
    state.strokes.push_back({state.next.stroke++, edit.stroke});
    return std::move(state);
  }
  Result<EditState> operator()(const RemoveStroke& edit) {
    return without(state.strokes, edit.id, "stroke");
  }
  Result<EditState> operator()(const AddVertical& edit) {
    if (auto error = edit.edge.validate()) return fail(std::move(*error));
    if (auto room = check_room(state.verticals.size(), UprightEdge::kMostOfShot, "verticals");
        !room) {
      return tl::unexpected(room.error());
    }
    state.verticals.push_back({state.next.vertical++, edit.edge});
    return std::move(state);
  }
  Result<EditState> operator()(const RemoveVertical& edit) {
    return without(state.verticals, edit.id, "upright edge");
  }

 private:
  template <class Change>
  Result<EditState> changed(int id, const Change& change) {
    const auto at = place_of_id(state.ties, id, "tie");
    if (!at) return tl::unexpected(at.error());
    change(state.ties[static_cast<std::size_t>(*at)]);
    return std::move(state);
  }
  template <class T>
  Result<EditState> without(std::vector<T>& list, int id, const char* kind) {
    const auto at = place_of_id(list, id, kind);
    if (!at) return tl::unexpected(at.error());
    list.erase(list.begin() + *at);
    return std::move(state);
  }
};

}  // namespace

const EditedTie* EditState::find(int id) const {
  const auto found =
      std::find_if(ties.begin(), ties.end(), [&](const EditedTie& tie) { return tie.id == id; });
  return found == ties.end() ? nullptr : &*found;
}

std::vector<ManualTie> EditState::ties_in_use() const {
  std::vector<ManualTie> used;
  for (const EditedTie& tie : ties) {
    if (tie.on) used.push_back(tie.tie);
  }
  return used;
}

std::vector<SeamStroke> EditState::seam() const {
  std::vector<SeamStroke> seam;
  for (const EditedStroke& one : strokes) seam.push_back(one.stroke);
  return seam;
}

std::vector<UprightEdge> EditState::edges() const {
  std::vector<UprightEdge> edges;
  for (const EditedVertical& one : verticals) edges.push_back(one.edge);
  return edges;
}

EditState state_of(const ShotFile& shot) {
  EditState state;
  NextIds& next = state.next;
  for (const ManualTie& tie : shot.manual_ties) state.ties.push_back({next.tie++, tie, true});
  for (const SeamStroke& stroke : shot.seam) state.strokes.push_back({next.stroke++, stroke});
  for (const UprightEdge& edge : shot.verticals) state.verticals.push_back({next.vertical++, edge});
  return state;
}

Result<EditState> after(const EditState& state, const Edit& edit, int lens_count) {
  return std::visit(Applier{state, lens_count}, edit);
}

}  // namespace seamwright::workbench
