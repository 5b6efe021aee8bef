#include "jobs/shot/fit_trials.h"

#include <algorithm>
#include <utility>

#include "imaging/orient.h"

namespace seamwright {

namespace {

Misfit cause_of_turns(const std::vector<int>& turns) {
  const bool all_on_head = std::all_of(turns.begin(), turns.end(), [](int t) { return t == 2; });
  return all_on_head ? Misfit::upside_down : Misfit::turned;
}

// Two lenses are turned each by itself; of more, all by the same.
std::vector<std::vector<int>> turns_to_try(int lenses, bool square) {
  std::vector<std::vector<int>> all;
  const int step = square ? 1 : 2;
  if (lenses != 2) {
    for (int turn = step; turn < 4; turn += step) {
      all.emplace_back(static_cast<std::size_t>(lenses), turn);
    }
    return all;
  }
  for (int a = 0; a < 4; a += step) {
    for (int b = 0; b < 4; b += step) {
      if (a != 0 || b != 0) all.push_back({a, b});
    }
  }
  return all;
}

std::vector<std::vector<int>> orders_to_try(int lenses) {
  std::vector<std::vector<int>> all;
  if (lenses == 2) return {{1, 0}};
  for (int a = 0; a < lenses; ++a) {
    for (int b = a + 1; b < lenses; ++b) {
      std::vector<int> order;
      for (int i = 0; i < lenses; ++i) order.push_back(i == a ? b : i == b ? a : i);
      all.push_back(std::move(order));
    }
  }
  for (int by = 1; by < lenses; ++by) {
    std::vector<int> order;
    for (int i = 0; i < lenses; ++i) order.push_back((i + by) % lenses);
    all.push_back(std::move(order));
  }
  return all;
}

}  // namespace

std::vector<Trial> trials_for(int lenses, bool square) {
  std::vector<Trial> trials;
  trials.push_back({.cause = Misfit::mirrored, .mirrored = true});
  for (auto& order : orders_to_try(lenses)) {
    trials.push_back({.cause = Misfit::swapped, .order = std::move(order)});
  }
  for (auto& turns : turns_to_try(lenses, square)) {
    const Misfit cause = cause_of_turns(turns);
    trials.push_back({.cause = cause, .turns = std::move(turns)});
  }
  return trials;
}

bool keeps_ring(const Trial& trial, int lenses) {
  if (lenses != 2) return false;
  return trial.turns.empty() || (trial.turns[0] + trial.turns[1]) % 4 == 0;
}

std::vector<Image> arranged(const std::vector<Image>& frames, const Trial& trial) {
  std::vector<Image> arranged;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const std::size_t from = trial.order.empty() ? i : static_cast<std::size_t>(trial.order[i]);
    Image image = frames[from];
    if (!trial.turns.empty() && trial.turns[i] != 0) {
      image = rotate_quarter_turns(image, trial.turns[i]);
    }
    if (trial.mirrored) image = mirror_left_right(image);
    arranged.push_back(std::move(image));
  }
  return arranged;
}

}  // namespace seamwright
