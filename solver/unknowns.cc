#include "solver/unknowns.h"

#include <algorithm>
#include <set>

namespace seamwright {

namespace {

Vec3 vector_at(const double* numbers) { return {numbers[0], numbers[1], numbers[2]}; }

void put(const Vec3& vector, double* numbers) { std::copy_n(vector.data(), 3, numbers); }

std::vector<ShotSize> sizes_of(ShotStates shots, int flex) {
  std::vector<ShotSize> sizes;
  std::set<int> begun;
  for (const ShotState& shot : shots) {
    const int network = shot.pose.network;
    const bool is_world = network == kNoNetwork || begun.insert(network).second;
    sizes.push_back({.flex = flex, .pose = is_world ? 0 : 6});
  }
  return sizes;
}

}  // namespace

Unknowns::Unknowns(const Rig& start, std::vector<ShotState> shots, const SharedTerms& terms,
                   bool free_flex)
    : start_(start),
      shots_(std::move(shots)),
      terms_(terms),
      sizes_(sizes_of(shots_, free_flex ? 3 * (start.lens_count() - 1) : 0)) {
  if (start.lens_count() > 1 && terms.column(1, kPupilX) >= 0) {
    baseline_ = start.baseline(0, 1).norm();
  }
  if (terms.columns() > 0) blocks_.push_back({.size = terms.columns()});
  values_.assign(static_cast<std::size_t>(terms.columns()), 0.0);
  for (std::size_t s = 0; s < shots_.size(); ++s) {
    const ShotSize& size = sizes_[s];
    if (size.all() == 0) continue;
    const auto begin = values_.size();
    blocks_.push_back({.shot = static_cast<int>(s),
                       .begin = static_cast<int>(begin),
                       .size = size.all(),
                       .flex = size.flex});
    values_.resize(begin + static_cast<std::size_t>(size.all()));
    double* numbers = values_.data() + begin;
    for (int k = 0; k < size.flex; k += 3) {
      put(shots_[s].flex[static_cast<std::size_t>(k / 3 + 1)], numbers + k);
    }
    if (size.pose == 0) continue;
    put(rotation_vector_from_quat(shots_[s].pose.world_from_rig), numbers + size.flex);
    put(shots_[s].pose.position, numbers + size.flex + 3);
  }
}

std::vector<int> Unknowns::places_of(const ColumnPlan& columns) const {
  std::vector<int> places(static_cast<std::size_t>(columns.count));
  for (const Block& block : blocks_) {
    int first = 0;
    if (block.shot != kShared) {
      const ShotColumns shot = columns.of(block.shot);
      first = shot.flex >= 0 ? shot.flex : shot.pose;
      if (first < 0) continue;
    }
    for (int k = 0; k < block.size; ++k)
      places[static_cast<std::size_t>(first + k)] = block.begin + k;
  }
  return places;
}

void Unknowns::step(const Block& block, const double* x, const double* step, double* moved) const {
  if (block.shot == kShared) return step_shared(x, step, moved);
  const int turns = block.size == block.flex ? block.size : block.flex + 3;
  for (int k = 0; k < turns; k += 3) {
    put(rotation_vector_from_quat(quat_from_rotation_vector(vector_at(step + k)) *
                                  quat_from_rotation_vector(vector_at(x + k))),
        moved + k);
  }
  for (int k = turns; k < block.size; ++k) moved[k] = x[k] + step[k];
}

void Unknowns::step_shared(const double* x, const double* step, double* moved) const {
  using Vector = Eigen::Map<const Eigen::VectorXd>;
  const int columns = terms_.columns();
  Rig rig = terms_.stepped(terms_.stepped(start_, Vector(x, columns)), Vector(step, columns));
  if (holds_baseline()) {
    rig.lenses[1].pupil = rig.lenses[0].pupil - baseline_ * rig.baseline(0, 1).normalized();
  }
  Eigen::Map<Eigen::VectorXd>(moved, columns) = terms_.difference(rig, start_);
}

Rig Unknowns::rig() const {
  return terms_.stepped(start_,
                        Eigen::Map<const Eigen::VectorXd>(values_.data(), terms_.columns()));
}

std::vector<ShotState> Unknowns::shots() const {
  std::vector<ShotState> shots = shots_;
  for (const Block& block : blocks_) {
    if (block.shot == kShared) continue;
    ShotState& shot = shots[static_cast<std::size_t>(block.shot)];
    const double* numbers = values_.data() + block.begin;
    for (int k = 0; k < block.flex; k += 3) {
      shot.flex[static_cast<std::size_t>(k / 3 + 1)] = vector_at(numbers + k);
    }
    if (block.size == block.flex) continue;
    shot.pose.world_from_rig = quat_from_rotation_vector(vector_at(numbers + block.flex));
    shot.pose.position = vector_at(numbers + block.flex + 3);
  }
  return shots;
}

}  // namespace seamwright
