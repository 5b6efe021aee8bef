#include "features/descriptor_match.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr int kBlock = 256;
constexpr double kSamePlace_rad = rad_from_deg(1.2);  // as near as this is no rival

struct Best {
  float score = -std::numeric_limits<float>::max();  // a·b − ½|other|²: larger is nearer
  int index = -1;

  void offer(float other_score, int other_index) {
    if (other_score > score) {
      score = other_score;
      index = other_index;
    }
  }
};

struct BestPartners {
  std::vector<Best> of_a, of_b;
};

BestPartners best_partners(const KeyBlock& a, const KeyBlock& b) {
  const int count_a = static_cast<int>(a.keys.size());
  const int count_b = static_cast<int>(b.keys.size());
  const int blocks = (count_a + kBlock - 1) / kBlock;
  BestPartners best;
  best.of_a.resize(a.keys.size());
  std::vector<std::vector<Best>> of_b(static_cast<std::size_t>(blocks),
                                      std::vector<Best>(b.keys.size()));
  parallel_for(0, blocks, [&](int block) {
    const int first_a = block * kBlock;
    const int size_a = std::min(kBlock, count_a - first_a);
    std::vector<Best>& columns = of_b[static_cast<std::size_t>(block)];
    Eigen::MatrixXf products;
    for (int first_b = 0; first_b < count_b; first_b += kBlock) {
      const int size_b = std::min(kBlock, count_b - first_b);
      products.noalias() = a.descriptors.middleCols(first_a, size_a).transpose() *
                           b.descriptors.middleCols(first_b, size_b);
      for (int j = 0; j < size_b; ++j) {
        Best& of_this_b = columns[static_cast<std::size_t>(first_b + j)];
        const float half_b = b.half_norm2[first_b + j];
        for (int i = 0; i < size_a; ++i) {
          const float product = products(i, j);
          best.of_a[static_cast<std::size_t>(first_a + i)].offer(product - half_b, first_b + j);
          of_this_b.offer(product - a.half_norm2[first_a + i], first_a + i);
        }
      }
    }
  });
  best.of_b.resize(b.keys.size());
  for (const auto& columns : of_b) {
    for (std::size_t j = 0; j < columns.size(); ++j) {
      best.of_b[j].offer(columns[j].score, columns[j].index);
    }
  }
  return best;
}

struct Candidate {
  int own = 0;
  int other = 0;
};

// For each candidate: does its partner stand out against every other place in `others`?
std::vector<char> stand_out(const KeyBlock& owns, const KeyBlock& others,
                            const std::vector<Candidate>& candidates, double max_ratio) {
  std::vector<char> stands(candidates.size(), 0);
  constexpr int kRows = 64;
  const int count = static_cast<int>(candidates.size());
  const double same = std::cos(kSamePlace_rad);
  parallel_for(0, (count + kRows - 1) / kRows, [&](int block) {
    const int first = block * kRows;
    const int size = std::min(kRows, count - first);
    Eigen::MatrixXf queries(128, size);
    for (int i = 0; i < size; ++i) {
      queries.col(i) = owns.descriptors.col(candidates[static_cast<std::size_t>(first + i)].own);
    }
    const Eigen::MatrixXf products = others.descriptors.transpose() * queries;
    for (int i = 0; i < size; ++i) {
      const Candidate& candidate = candidates[static_cast<std::size_t>(first + i)];
      const Vec3& place = others.directions[static_cast<std::size_t>(candidate.other)];
      const auto distance2 = [&](int j) {
        return 2 *
               (static_cast<double>(owns.half_norm2[candidate.own]) +
                static_cast<double>(others.half_norm2[j]) - static_cast<double>(products(j, i)));
      };
      const double limit2 = distance2(candidate.other) / (max_ratio * max_ratio);
      bool stands_out = true;
      for (int j = 0; j < static_cast<int>(products.rows()) && stands_out; ++j) {
        stands_out = distance2(j) > limit2 ||
                     place.dot(others.directions[static_cast<std::size_t>(j)]) > same;
      }
      stands[static_cast<std::size_t>(first + i)] = stands_out ? 1 : 0;
    }
  });
  return stands;
}

}  // namespace

KeyBlock key_block(const ShotKeys& shot, const Rig& rig, int lens, int strongest) {
  const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(lens)];
  KeyBlock block;
  for (int i = 0; i < static_cast<int>(shot.keys.size()); ++i) {
    if (shot.keys[static_cast<std::size_t>(i)].lens == lens) block.keys.push_back(i);
  }
  const auto response = [&](int i) { return shot.keys[static_cast<std::size_t>(i)].response; };
  if (strongest > 0 && block.keys.size() > static_cast<std::size_t>(strongest)) {
    std::stable_sort(block.keys.begin(), block.keys.end(),
                     [&](int a, int b) { return response(a) > response(b); });
    block.keys.resize(static_cast<std::size_t>(strongest));
    std::sort(block.keys.begin(), block.keys.end());
  }
  std::vector<int> seen;
  for (const int i : block.keys) {
    const auto direction = mounted.direction_in_rig(shot.keys[static_cast<std::size_t>(i)].px);
    if (!direction) continue;
    seen.push_back(i);
    block.directions.push_back(*direction);
  }
  block.keys = std::move(seen);
  const auto count = static_cast<Eigen::Index>(block.keys.size());
  block.descriptors.resize(128, count);
  for (Eigen::Index j = 0; j < count; ++j) {
    const Descriptor& from =
        shot.keys[static_cast<std::size_t>(block.keys[static_cast<std::size_t>(j)])].descriptor;
    for (Eigen::Index k = 0; k < 128; ++k) {
      block.descriptors(k, j) = static_cast<float>(from[static_cast<std::size_t>(k)]);
    }
  }
  block.half_norm2 = 0.5F * block.descriptors.colwise().squaredNorm().transpose();
  return block;
}

std::vector<KeyPair> match_blocks(const KeyBlock& a, const KeyBlock& b, double max_ratio) {
  const BestPartners best = best_partners(a, b);
  std::vector<Candidate> forth;
  std::vector<Candidate> back;
  for (int i = 0; i < static_cast<int>(a.keys.size()); ++i) {
    const int j = best.of_a[static_cast<std::size_t>(i)].index;
    if (j < 0 || best.of_b[static_cast<std::size_t>(j)].index != i) continue;
    forth.push_back({i, j});
    back.push_back({j, i});
  }
  const auto stands_in_b = stand_out(a, b, forth, max_ratio);
  const auto stands_in_a = stand_out(b, a, back, max_ratio);
  std::vector<KeyPair> pairs;
  for (std::size_t k = 0; k < forth.size(); ++k) {
    if (stands_in_a[k] == 0 || stands_in_b[k] == 0) continue;
    pairs.push_back({a.keys[static_cast<std::size_t>(forth[k].own)],
                     b.keys[static_cast<std::size_t>(forth[k].other)]});
  }
  return pairs;
}

}  // namespace seamwright
