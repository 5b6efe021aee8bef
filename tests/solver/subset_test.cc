// More evidence never hurts: every subset of a study, with and without one more shot.

#include <bit>
#include <cmath>
#include <map>
#include <utility>
#include <vector>

#include "solver/learn_rig.h"
#include "solver/seam_error.h"
#include "tests/support/matchers.h"
#include "tests/support/rigs.h"
#include "tests/support/tracks.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

constexpr int kStands = 3;
constexpr int kStudyShots = 5;
constexpr unsigned kStandBits = (1U << kStands) - 1;

// Three stands of a room, a yard and another room, which nothing joins to others. All shots err by
// patches, the yard by most.
class Study {
 public:
  explicit Study(Random& random) : body_(body(random)) {
    room_ = test::room_survey(
        random, body_,
        {.stands = kStands, .ring_ties = 120, .tracks = 250, .noise_px = 0.15, .flex_rad = 1e-4});
    test::shift_patches(random, body_, 0.03, room_.ties);
    add_lone(random, test::open_yard(40), 0.15);
    add_lone(random, test::box_room({1.6, 1.3, 2}, {0.3, -0.2, 0.2}, Quat::Identity()), 0.05);
  }

  struct Answer {
    double error_px = 0;
    double claimed_px = 0;
  };

  // From the shots whose bits are set: the stands, the yard, the other room.
  [[nodiscard]] Answer learn(unsigned shots) const {
    std::vector<int> places(kStudyShots, -1);
    std::vector<ShotState> start;
    const bool joined = std::popcount(shots & kStandBits) > 1;
    for (int shot = 0; shot < kStudyShots; ++shot) {
      if ((shots >> static_cast<unsigned>(shot) & 1U) == 0) continue;
      places[static_cast<std::size_t>(shot)] = static_cast<int>(start.size());
      const bool is_joined = joined && shot < kStands;
      start.push_back(is_joined ? room_.start[static_cast<std::size_t>(shot)] : ShotState{});
    }
    std::vector<Tie> ties;
    for (const Tie& tie : room_.ties) keep(tie, places, ties);
    for (const Tie& tie : lone_) keep(tie, places, ties);
    test::RigOptions shape;
    shape.theta_max_rad = rad_from_deg(104);
    Rig rig = test::nominal_rig(shape);
    for (std::size_t i = 0; i < 2; ++i) {
      rig.lenses[i].lens.terms[kFocal] = body_.lenses[i].lens.terms[kFocal] * 1.004;
    }
    const auto learnt = learn_rig(rig, prior_of({}, rig, all_rig_terms(2)), ties, start, {});
    REQUIRE(learnt);
    const SolutionQuality& quality = learnt->solution.quality;
    return {summarise(seam_misalignment(learnt->solution.rig, body_, 0, 1))->rms_px,
            std::hypot(quality.expected_seam_parallax_px, quality.expected_seam_sideways_px)};
  }

 private:
  static Rig body(Random& random) {
    test::RigOptions shape;
    shape.theta_max_rad = rad_from_deg(101);
    shape.affine_spread = 3e-4;
    shape.decentring_spread = 3e-4;
    return test::random_rig(random, shape);
  }

  void add_lone(Random& random, const test::Scene& scene, double shift_px) {
    const int shot = lone_.empty() ? kStands : kStands + 1;
    test::TieOptionsSynthetic options{.per_pair = 120, .noise_px = 0.15};
    options.flex = {Vec3::Zero(),
                    Vec3(random.normal(1e-4), random.normal(1e-4), random.normal(1e-4))};
    auto ties = test::synthetic_ties(random, body_, scene, shot, options);
    test::shift_patches(random, body_, shift_px, ties);
    lone_.insert(lone_.end(), ties.begin(), ties.end());
  }

  // A tie with the sights of the shots that are there.
  static void keep(const Tie& tie, const std::vector<int>& places, std::vector<Tie>& ties) {
    Tie kept = tie;
    kept.shot = places[static_cast<std::size_t>(tie.shot)];
    kept.sights.clear();
    for (TieSight sight : tie.sights) {
      if (sight.shot != kOwnShot) {
        sight.shot = places[static_cast<std::size_t>(sight.shot)];
        if (sight.shot < 0) continue;
      }
      kept.sights.push_back(sight);
    }
    if (kept.shot >= 0 && kept.sights.size() > 1) ties.push_back(std::move(kept));
  }

  Rig body_;
  test::RoomSurvey room_;
  std::vector<Tie> lone_;
};

TEST_CASE("no shot makes any subset of a study worse by more than its sigma", "[long]") {
  CAPTURE(seed());
  constexpr unsigned kAll = 1U << kStudyShots;
  int compared = 0;
  double most = 0;  // sigmas
  for (const std::uint64_t stream : {800U, 801U, 802U}) {
    Random random(stream);
    const Study study(random);
    std::map<unsigned, Study::Answer> answers;
    for (unsigned shots = 1; shots < kAll; ++shots) answers[shots] = study.learn(shots);
    for (unsigned shots = 1; shots < kAll; ++shots) {
      for (unsigned more = 1; more < kAll; more <<= 1U) {
        if ((shots & more) != 0) continue;
        const Study::Answer& without = answers.at(shots);
        const Study::Answer& with = answers.at(shots | more);
        CAPTURE(stream, shots, more, without.error_px, without.claimed_px, with.error_px,
                with.claimed_px);
        CHECK(with.error_px <= without.error_px + with.claimed_px);
        most = std::max(most, (with.error_px - without.error_px) / with.claimed_px);
        ++compared;
      }
    }
    WARN("three stands " << answers.at(kStandBits).error_px << " px ("
                         << answers.at(kStandBits).claimed_px << " claimed), with the yard "
                         << answers.at(kStandBits | 8U).error_px << " ("
                         << answers.at(kStandBits | 8U).claimed_px << "), with everything "
                         << answers.at(kAll - 1).error_px << " (" << answers.at(kAll - 1).claimed_px
                         << ")");
  }
  CHECK(compared == 3 * 75);
  WARN("worse by at most " << most << " claimed sigmas");
}

}  // namespace
}  // namespace seamwright
