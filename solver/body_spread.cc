#include "solver/body_spread.h"

namespace seamwright {

namespace {

// One term of all lenses near their common mean. Called once a lens, so each pair counts half.
void hold_together(const SharedTerms& terms, int slot, double sigma, Eigen::MatrixXd& information) {
  const double strength = 0.5 / (sigma * sigma * terms.lens_count());
  for (int a = 0; a < terms.lens_count(); ++a) {
    for (int b = 0; b < terms.lens_count(); ++b) {
      if (a == b) continue;
      information(terms.column(a, slot), terms.column(a, slot)) += 0.5 * strength;
      information(terms.column(b, slot), terms.column(b, slot)) += 0.5 * strength;
      information(terms.column(a, slot), terms.column(b, slot)) -= strength;
    }
  }
}

}  // namespace

SharedTerms all_rig_terms(int lens_count) {
  return SharedTerms(lens_count, [](int, int slot) { return slot != kPupilTravel; });
}

SharedTerms all_rig_terms_and_travel(int lens_count) {
  return SharedTerms(lens_count, [](int, int) { return true; });
}

SharedPrior prior_of(const BodySpread& spread, const Rig& nominal, const SharedTerms& terms) {
  SharedPrior prior{nominal, Eigen::MatrixXd::Zero(terms.columns(), terms.columns())};
  for (int column = 0; column < terms.columns(); ++column) {
    const Lens& lens = nominal.lenses[static_cast<std::size_t>(terms.lens_of(column))].lens;
    const int slot = terms.slot_of(column);
    double sigma = 0;
    if (slot == kFocal) {
      sigma = spread.focal_share * lens.terms[kFocal];
    } else if (slot == kCentreU || slot == kCentreV) {
      sigma = spread.centre_share * lens.width_px;
    } else if (slot <= kRadial4) {
      sigma = spread.radial[slot - kRadial1];
    } else if (slot <= kShear) {
      sigma = spread.affine;
    } else if (slot < kRotationX) {
      sigma = spread.decentring;
    } else if (slot < kPupilX) {
      sigma = spread.rotation_rad;
    } else {
      sigma = slot < kPupilTravel ? spread.pupil_m : spread.pupil_travel_m;
    }
    prior.information(column, column) += 1.0 / (sigma * sigma);
    if (slot == kFocal || (slot >= kRadial1 && slot <= kRadial4)) {
      hold_together(terms, slot, spread.piece_share * sigma, prior.information);
    }
  }
  return prior;
}

}  // namespace seamwright
