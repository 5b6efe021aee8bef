#include "solver/shared_terms.h"

#include <fmt/format.h>

namespace seamwright {

std::string slot_name(int slot) {
  if (slot < kLensTermCount) return std::string(kLensTermNames[static_cast<std::size_t>(slot)]);
  constexpr std::string_view kAxes = "xyz";
  if (slot < kPupilX) {
    return fmt::format("rotation_{}_rad", kAxes[static_cast<std::size_t>(slot - kRotationX)]);
  }
  if (slot == kPupilTravel) return "pupil_travel";
  return fmt::format("pupil_{}", kAxes[static_cast<std::size_t>(slot - kPupilX)]);
}

std::vector<std::string> SharedTerms::names() const {
  std::vector<std::string> names;
  names.reserve(refs_.size());
  for (const Ref& ref : refs_)
    names.push_back(fmt::format("lens{}.{}", ref.lens, slot_name(ref.slot)));
  return names;
}

Rig SharedTerms::stepped(const Rig& rig, const Eigen::VectorXd& step) const {
  Rig moved = rig;
  for (int lens = 0; lens < lens_count(); ++lens) {
    MountedLens& mounted = moved.lenses[static_cast<std::size_t>(lens)];
    const auto part = [&](int slot) {
      const int c = column(lens, slot);
      return c < 0 ? 0.0 : step[c];
    };
    for (int term = 0; term < kLensTermCount; ++term) {
      mounted.lens.terms[static_cast<std::size_t>(term)] += part(term);
    }
    const Vec3 turn(part(kRotationX), part(kRotationY), part(kRotationZ));
    if (!turn.isZero(0)) {
      mounted.rig_from_lens =
          (quat_from_rotation_vector(turn) * mounted.rig_from_lens).normalized();
    }
    mounted.pupil += Vec3(part(kPupilX), part(kPupilY), part(kPupilZ));
    mounted.pupil_travel += part(kPupilTravel);
  }
  return moved;
}

Eigen::VectorXd SharedTerms::difference(const Rig& rig, const Rig& reference) const {
  Eigen::VectorXd step(columns());
  for (int c = 0; c < columns(); ++c) {
    const Ref& ref = refs_[static_cast<std::size_t>(c)];
    const MountedLens& now = rig.lenses[static_cast<std::size_t>(ref.lens)];
    const MountedLens& then = reference.lenses[static_cast<std::size_t>(ref.lens)];
    if (ref.slot < kLensTermCount) {
      const auto term = static_cast<std::size_t>(ref.slot);
      step[c] = now.lens.terms[term] - then.lens.terms[term];
    } else if (ref.slot < kPupilX) {
      step[c] = rotation_vector_from_quat(now.rig_from_lens *
                                          then.rig_from_lens.conjugate())[ref.slot - kRotationX];
    } else if (ref.slot == kPupilTravel) {
      step[c] = now.pupil_travel - then.pupil_travel;
    } else {
      step[c] = (now.pupil - then.pupil)[ref.slot - kPupilX];
    }
  }
  return step;
}

}  // namespace seamwright
