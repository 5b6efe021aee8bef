#include "features/ties.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "tests/features/synthetic_shot.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

TieCheck check(const TieSet& set, const SyntheticShot& shot, bool edges) {
  return check_ties(set.ties, shot.rig, shot.truth(),
                    [&](std::size_t i) { return set.details[i].edge == edges; });
}

Rig disturbed(const Rig& rig, double rotation_rad, double focal_share, double centre_px) {
  Random random(21);
  Rig wrong = rig;
  for (MountedLens& mounted : wrong.lenses) {
    mounted.lens.terms[kFocal] *= 1 + random.uniform(-focal_share, focal_share);
    mounted.lens.terms[kCentreU] += random.uniform(-centre_px, centre_px);
    mounted.lens.terms[kCentreV] += random.uniform(-centre_px, centre_px);
  }
  MountedLens& back = wrong.lenses.back();
  back.rig_from_lens =
      (quat_from_rotation_vector(random_offset(random, rotation_rad)) * back.rig_from_lens)
          .normalized();
  return wrong;
}

bool same(const TieSet& a, const TieSet& b) {
  if (a.ties.size() != b.ties.size()) return false;
  for (std::size_t i = 0; i < a.ties.size(); ++i) {
    for (std::size_t k = 0; k < 2; ++k) {
      const TieSight& x = a.ties[i].sights[k];
      const TieSight& y = b.ties[i].sights[k];
      if (x.lens != y.lens || x.px != y.px || x.covariance_px2 != y.covariance_px2) return false;
    }
  }
  return true;
}

}  // namespace

TEST_CASE("ties of a room are many, right, precise and honest about it", "[ties]") {
  CAPTURE(seed());
  const SyntheticShot& shot = room_shot();
  const auto set = find_ties(shot.frames, shot.rig, 7);
  REQUIRE(set);
  REQUIRE(set->details.size() == set->ties.size());
  REQUIRE(set->report.pairs.size() == 1);
  const PairTieReport& report = set->report.pairs[0];
  CHECK(report.kept == static_cast<int>(set->ties.size()));
  CHECK(report.kept >= 250);
  CHECK(report.empty_sectors_deg.empty());
  CHECK(report.consistent >= 0.85 * report.matched);
  for (const Tie& tie : set->ties) {
    CHECK(tie.shot == 7);
    REQUIRE(tie.sights.size() == 2);
  }

  const TieCheck corners = check(*set, shot, false);
  INFO(corners.line());
  CHECK(corners.ties >= 200);
  CHECK(corners.outliers <= corners.ties / 100);
  CHECK(corners.sideways_rms_px <= 0.1);
  CHECK(corners.parallax_rms_px <= 0.15);
  // So clean a picture is better than the floor of 0.02 px that every tie claims.
  CHECK(corners.chi2_median > 0.1);
  CHECK(corners.chi2_median < 1.25);
}

TEST_CASE("a rig that is slightly wrong finds the same scene", "[ties]") {
  CAPTURE(seed());
  const SyntheticShot& shot = room_shot();
  const Rig wrong = disturbed(shot.rig, rad_from_deg(0.25), 0.002, 2);
  const auto set = find_ties(shot.frames, wrong, 0);
  REQUIRE(set);
  const TieCheck corners = check(*set, shot, false);
  INFO(corners.line());
  CHECK(corners.ties >= 200);
  CHECK(corners.outliers <= corners.ties / 50);
  CHECK(corners.sideways_rms_px <= 0.1);
}

TEST_CASE("a cold start bears degrees of rotation and some per cent of focal length", "[ties]") {
  CAPTURE(seed());
  const SyntheticShot& shot = room_shot();
  Rig wrong = disturbed(shot.rig, rad_from_deg(4), 0, 5);
  for (MountedLens& mounted : wrong.lenses) mounted.lens.terms[kFocal] *= 0.97;
  for (MountedLens& mounted : wrong.lenses) mounted.lens.theta_max_rad *= 1.02;
  const TieOptions options = TieOptions::cold_start();
  const auto set = find_ties(shot.frames, wrong, 0, options);
  REQUIRE(set);
  const PairTieReport& report = set->report.pairs.at(0);
  CHECK(report.consistent >= 150);
  // Unrefined positions: the outlier limit of 2 px and 5 sigmas is generous, but mismatches fail
  // it.
  const TieCheck checked = check(*set, shot, false);
  INFO(checked.line());
  CHECK(checked.outliers <= checked.ties / 20);

  // With the correction, narrow gates find refined ties.
  const Rig better = corrected(wrong, 0, 1, report.consensus);
  TieOptions narrow;
  narrow.sideways_gate_rad = narrow.parallax_slack_rad = rad_from_deg(1.5);
  const auto again = find_ties(shot.frames, better, 0, narrow);
  REQUIRE(again);
  const TieCheck refined = check(*again, shot, false);
  INFO(refined.line());
  CHECK(refined.ties >= 150);
  CHECK(refined.outliers <= refined.ties / 50);
  CHECK(refined.sideways_rms_px <= 0.12);
}

TEST_CASE("a cold start bears a field of view taken for a tenth narrower than it is",
          "[ties][long]") {
  RigOptions rig_options;
  rig_options.width_px = rig_options.height_px = 600;
  rig_options.theta_max_rad = rad_from_deg(110);
  rig_options.focal_spread = rig_options.radial_spread = 0;
  const SyntheticShot shot = photograph_all(random_rig(4, rig_options), {.grain_m = 0.05});
  // The same image circles, taken for 200 degrees.
  rig_options.theta_max_rad = rad_from_deg(100);
  const Rig nominal = nominal_rig(rig_options);
  const auto set = find_ties(shot.frames, nominal, 0, TieOptions::cold_start());
  REQUIRE(set);
  const PairTieReport& report = set->report.pairs.at(0);
  CHECK(report.consistent >= 300);
  // Nothing in this room is far: its parallax passes for focal length.
  CHECK(report.consensus.focal_scale == Approx(100.0 / 110.0).margin(0.015));
  const TieCheck checked = check(*set, shot, false);
  INFO(checked.line());
  CHECK(checked.outliers <= checked.ties / 20);
}

TEST_CASE("an overlap hardly higher than a patch still gives refined ties", "[ties][long]") {
  RigOptions rig_options;
  rig_options.width_px = rig_options.height_px = 800;
  rig_options.curve = LensCurve::equisolid;
  rig_options.theta_max_rad = rad_from_deg(95);
  rig_options.centre_spread_px = 6;
  const SyntheticShot shot = photograph_all(random_rig(6, rig_options), {.grain_m = 0.05});
  TieOptions options;
  options.edge_ties = false;
  const auto set = find_ties(shot.frames, shot.rig, 0, options);
  REQUIRE(set);
  const TieCheck corners = check(*set, shot, false);
  INFO(corners.line());
  CHECK(corners.ties >= 10);
  CHECK(corners.outliers == 0);
  CHECK(corners.sideways_rms_px <= 0.12);
}

TEST_CASE("ties do not depend on the number of threads or on exposure", "[ties][long]") {
  const SyntheticShot& shot = room_shot();
  const auto many = find_ties(shot.frames, shot.rig, 0);
  {
    const ThreadLimit one(1);
    const auto single = find_ties(shot.frames, shot.rig, 0);
    REQUIRE((many && single));
    CHECK(same(*many, *single));
  }
  // Two stops darker and with an offset: the same places, to the noise of the arithmetic.
  std::vector<Image> darker = shot.frames;
  for (int y = 0; y < darker[1].height(); ++y) {
    for (float& value : darker[1].row<float>(y)) value = value * 0.25F + 0.05F;
  }
  const auto other = find_ties(darker, shot.rig, 0);
  REQUIRE(other);
  const TieCheck checked = check(*other, shot, false);
  INFO(checked.line());
  CHECK(checked.ties >= 200);
  CHECK(checked.outliers <= checked.ties / 100);
  CHECK(checked.sideways_rms_px <= 0.1);
}

TEST_CASE("plain walls still give ties, from their edges", "[ties]") {
  CAPTURE(seed());
  RigOptions rig_options;
  rig_options.width_px = rig_options.height_px = 800;
  const SyntheticShot shot = photograph_all(random_rig(5, rig_options), {.grain_contrast = 0});
  TieOptions options;
  options.max_ties_per_pair = 1000;
  const auto with_edges = find_ties(shot.frames, shot.rig, 0, options);
  options.edge_ties = false;
  const auto without = find_ties(shot.frames, shot.rig, 0, options);
  REQUIRE((with_edges && without));
  CHECK(without->report.pairs[0].edges == 0);
  const TieCheck edges = check(*with_edges, shot, true);
  INFO(edges.line());
  CHECK(edges.ties >= 25);
  CHECK(edges.outliers <= edges.ties / 20);
  CHECK(edges.sideways_rms_px <= 0.15);
}

TEST_CASE("frames without texture give no ties and name the empty sectors", "[ties]") {
  const SyntheticShot& shot = room_shot();
  std::vector<Image> caps;
  for (const Image& frame : shot.frames) {
    Image grey(frame.width(), frame.height(), Channels::grey, SampleType::f32);
    for (int y = 0; y < grey.height(); ++y) {
      for (float& value : grey.row<float>(y)) value = 0.3F;
    }
    caps.push_back(std::move(grey));
  }
  const TieOptions options;
  const auto set = find_ties(caps, shot.rig, 0, options);
  REQUIRE(set);
  CHECK(set->ties.empty());
  CHECK(static_cast<int>(set->report.pairs.at(0).empty_sectors_deg.size()) == options.cells_psi);

  std::vector<Image> black;
  for (const Image& frame : shot.frames) {
    black.emplace_back(frame.width(), frame.height(), Channels::rgb, SampleType::u16);
  }
  const auto none = find_ties(black, shot.rig, 0, options);
  REQUIRE(none);
  CHECK(none->ties.empty());
}

TEST_CASE("a half-empty room names its empty sectors by azimuth", "[ties]") {
  const SyntheticShot& shot = room_shot();
  std::vector<Image> frames = shot.frames;
  // The upper half of both frames without texture: ψ around −90°, for up is −y.
  for (Image& frame : frames) {
    for (int y = 0; y < frame.height() / 2; ++y) {
      for (float& value : frame.row<float>(y)) value = 0.4F;
    }
  }
  const auto set = find_ties(frames, shot.rig, 0);
  REQUIRE(set);
  const auto& empty = set->report.pairs.at(0).empty_sectors_deg;
  CHECK(empty.size() >= 14);
  for (const double azimuth_deg : empty) {
    CHECK(azimuth_deg > -178);
    CHECK(azimuth_deg < 8);
  }
}

TEST_CASE("wrong frames are refused in one line", "[ties]") {
  const SyntheticShot& shot = room_shot();
  const auto too_few = find_ties(std::span(shot.frames).first(1), shot.rig, 0);
  REQUIRE_FALSE(too_few);
  CHECK(too_few.error().field == "frames");
  std::vector<Image> sizes = shot.frames;
  sizes[1] = Image(100, 100, Channels::rgb, SampleType::u8);
  const auto wrong_size = find_ties(sizes, shot.rig, 0);
  REQUIRE_FALSE(wrong_size);
  CHECK(wrong_size.error().field == "frames[1]");
  CHECK(wrong_size.error().what.find("100 x 100") != std::string::npos);
  Rig broken = shot.rig;
  broken.lenses[1].lens.terms[kFocal] = -1;
  CHECK_FALSE(find_ties(shot.frames, broken, 0));
}

TEST_CASE("options of ties that are out of range are named", "[ties]") {
  const SyntheticShot& shot = room_shot();
  const auto refused = [&](const auto& change, const std::string& field) {
    CAPTURE(field);
    TieOptions options;
    change(options);
    const auto set = find_ties(shot.frames, shot.rig, 0, options);
    REQUIRE_FALSE(set);
    CHECK(set.error().field == field);
  };
  refused([](TieOptions& o) { o.sideways_gate_rad = -0.1; }, "sideways_gate_rad");
  refused([](TieOptions& o) { o.parallax_slack_rad = std::nan(""); }, "parallax_slack_rad");
  refused([](TieOptions& o) { o.max_ratio = 1.5; }, "max_ratio");
  refused([](TieOptions& o) { o.cells_psi = 0; }, "cells_psi");
  refused([](TieOptions& o) { o.refine.window = 24; }, "window");
  refused([](TieOptions& o) { o.refine.window = 43; }, "window");
  refused([](TieOptions& o) { o.refine.min_ncc = 2; }, "min_ncc");
}

}  // namespace seamwright::test
