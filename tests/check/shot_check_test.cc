// Rendered shots with one known defect each, against the body's true template.

#include "jobs/check/shot_check.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "apps/demo/demo.h"
#include "compose/finish/level.h"
#include "imaging/read_image.h"
#include "jobs/check/lying_frames.h"
#include "solver/seam_error.h"
#include "tests/check/defects.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/upright_edges.h"

using namespace seamwright;
using test::Defect;
using test::seed;

namespace {

constexpr int kFrame_px = 700;

struct House {
  RigTemplate body;
  std::vector<Frame> library;
  std::vector<Frame> hall;
};

/// As sure as a template learned from a few stands is.
void give_covariance(RigTemplate& body) {
  TermCovariance& covariance = body.solution.covariance;
  covariance.names = {"lens0.focal_px", "lens1.focal_px", "lens1.rotation_x_rad",
                      "lens1.rotation_y_rad", "lens1.rotation_z_rad"};
  const Eigen::VectorXd sigma = (Eigen::VectorXd(5) << 0.02, 0.02, 1e-4, 1e-4, 1e-4).finished();
  covariance.values = sigma.array().square().matrix().asDiagonal();
  body.solution.quality.flex_sigma_rad = rad_from_deg(0.02);
  body.solution.quality.expected_seam_parallax_px = 0.05;
  body.solution.quality.expected_seam_sideways_px = 0.05;
}

const House& house() {
  static const House made = [] {
    const test::ScratchDir dir;
    DemoOptions options;
    options.frame_px = kFrame_px;
    options.with_panoramas = false;
    options.only_shots = {"library_1", "hall_1"};
    REQUIRE(write_demo(dir.path(), options));
    House result;
    auto body = read_template(dir / "truth" / "body.template.yaml");
    REQUIRE(body);
    result.body = std::move(*body);
    give_covariance(result.body);
    const auto frames = [&](const std::string& name) {
      auto read = read_shot(
          {dir / "frames" / (name + "_front.tif"), dir / "frames" / (name + "_back.tif")}, {});
      REQUIRE(read);
      return std::move(*read);
    };
    result.library = frames("library_1");
    result.hall = frames("hall_1");
    return result;
  }();
  return made;
}

bool has(const ShotFindings& found, FindingKind kind) {
  return std::ranges::any_of(found.findings, [&](const Finding& f) { return f.kind == kind; });
}

}  // namespace

TEST_CASE("a good shot has no findings, each defect has its own", "[check]") {
  CAPTURE(seed());
  const auto& [defect, kind] = GENERATE(table<Defect, FindingKind>({
      {Defect::none, FindingKind::misaligned},
      {Defect::knocked, FindingKind::misaligned},
      {Defect::swapped, FindingKind::unreadable},
      {Defect::mirrored, FindingKind::mirrored},
      {Defect::blurred, FindingKind::blurred},
      {Defect::overexposed, FindingKind::clipped},
      {Defect::veiled, FindingKind::colour_step},
      {Defect::other_shots, FindingKind::unreadable},
      {Defect::leaning, FindingKind::tilted},
  }));
  test::Random random(41);
  const auto shot = test::with_defect(defect, house().body, house().library, house().hall,
                                      defect == Defect::knocked ? 1.5 : 1.0, random);
  CAPTURE(test::name_of(defect));
  const auto checked = check_shot("library_1", shot.body, shot.frames);
  if (!checked) FAIL(checked.error().line());
  bool sent_out = false;
  for (const Finding& finding : checked->found.findings) {
    UNSCOPED_INFO(finding.words);
    CHECK_FALSE(finding.remedy.empty());
    // Who is sent out once more is told what to mind.
    CHECK((finding.remedy.find("shoot again") == std::string::npos ||
           finding.remedy.find("legs out of walkways") != std::string::npos));
    sent_out = sent_out || finding.remedy.find("shoot again") != std::string::npos;
  }
  if (kind == FindingKind::clipped || kind == FindingKind::blurred) CHECK(sent_out);
  CHECK(has(checked->found, kind) == (defect != Defect::none));
  CHECK((checked->found.score_px() > 0) == (defect != Defect::none));
}

TEST_CASE("another serial number than the template's is told", "[check]") {
  RigTemplate body = house().body;
  std::vector<Frame> frames = house().library;
  body.files.body_serial = "0117";
  for (Frame& frame : frames) frame.info.body_serial = "0117";
  const auto same = check_shot("same", body, frames, {.level = false});
  REQUIRE(same);
  CHECK_FALSE(has(same->found, FindingKind::other_body));
  for (Frame& frame : frames) frame.info.body_serial = "0218";
  const auto other = check_shot("other", body, frames, {.level = false});
  REQUIRE(other);
  REQUIRE(has(other->found, FindingKind::other_body));
  CHECK_THAT(other->found.findings.front().words, Catch::Contains("0218"));
  CHECK_FALSE(has(other->found, FindingKind::misaligned));
}

TEST_CASE("frames that lie on their side are told by what stands upright in them", "[check]") {
  LearnOutcome outcome;
  outcome.rig_template = house().body;
  outcome.shots.resize(3);
  outcome.shots[0].name = "library";
  outcome.shots[1].name = "hall";
  outcome.shots[2].name = "bad";
  outcome.shots[2].left_out = "too dark";
  std::vector<LearnShot> shots;
  for (const auto& [name, frames] : {std::pair("bad", &house().library),
                                     {"library", &house().library},
                                     {"hall", &house().hall}}) {
    shots.push_back({.name = name,
                     .load = [frames]() -> Result<std::vector<Image>> {
                       std::vector<Image> images;
                       for (const Frame& frame : *frames) images.push_back(frame.image);
                       return images;
                     },
                     .sources = {}});
  }
  CHECK_FALSE(frames_lie_on_side(shots, outcome));
  const Quat quarter(Eigen::AngleAxisd(kPi / 2, Vec3::UnitZ()));
  outcome.rig_template.solution.rig = turned(house().body.rig(), quarter);
  CHECK(frames_lie_on_side(shots, outcome));
  CHECK_FALSE(frames_lie_on_side({}, outcome));
}

TEST_CASE("a leaning shot is not called tilted once its upright edges are marked", "[check]") {
  const Quat lean = quat_from_rotation_vector(rad_from_deg(5) * Vec3(0.6, 0, 0.8));
  RigTemplate leaning = house().body;
  leaning.solution.rig = turned(leaning.rig(), lean);
  const auto as_it_stood = check_shot("library_1", leaning, house().library);
  if (!as_it_stood) FAIL(as_it_stood.error().line());
  CHECK(has(as_it_stood->found, FindingKind::tilted));
  REQUIRE(as_it_stood->tilt_deg);

  ShotCheckOptions options;
  options.marked = test::upright_edges(lean * Vec3::UnitY(), {15, 100});
  const auto marked = check_shot("library_1", leaning, house().library, options);
  if (!marked) FAIL(marked.error().line());
  CHECK_FALSE(has(marked->found, FindingKind::tilted));
  // The stand of library_1 itself leans by less than a degree.
  CHECK(*marked->tilt_deg == Approx(5).margin(1e-3));
  CHECK(std::abs(*as_it_stood->tilt_deg - 5) < 1);

  options.marked = {{{{{-0.5, -0.7}, {0.5, -0.7}}}}, {{{{1.0, -0.7}, {2.0, -0.7}}}}};
  const auto lying = check_shot("library_1", leaning, house().library, options);
  REQUIRE_FALSE(lying);
  CHECK_THAT(lying.error().line(), Catch::Contains("verticals"));
}

TEST_CASE("the misalignment found is the true one, place by place", "[check]") {
  CAPTURE(seed());
  RigTemplate knocked = house().body;
  const Vec3 turn = rad_from_deg(1) * Vec3(0.3, -0.2, 0.4);
  Quat& mount = knocked.solution.rig.lenses[1].rig_from_lens;
  mount = quat_from_rotation_vector(turn) * mount;
  const auto ring = check_ring(knocked, house().library);
  REQUIRE(ring);
  REQUIRE(ring->readable);
  REQUIRE(ring->places.size() >= 12);
  double square = 0;
  for (const RingPlace& place : ring->places) {
    const RibbonAxes axes = RibbonAxes::of_pair(knocked.rig(), 0, 1);
    const auto truth =
        seam_misalignment(knocked.rig(), house().body.rig(), 0, 1, {axes.angles(place.direction)});
    REQUIRE(truth.size() == 1);
    square += std::pow(place.parallax_px - truth[0].parallax_px, 2) +
              std::pow(place.sideways_px - truth[0].sideways_px, 2);
  }
  const double rms_px = std::sqrt(square / static_cast<double>(ring->places.size()));
  CAPTURE(rms_px, ring->sigma_px, ring->p95_px);
  CHECK(ring->p95_px > 0.5);
  // The shot's own flex of 0.02° (0.04 px a hundredth of a degree) is in the pictures as well.
  CHECK(rms_px < 0.25);
}

TEST_CASE("where the pictures do not meet along the seam is found", "[check]") {
  ShotCheckOptions options{.level = false, .seams = true};
  const auto good = check_shot("library_1", house().body, house().library, options);
  if (!good) FAIL(good.error().line());
  REQUIRE(good->seams);
  CHECK(good->seams->places.size() > 50);
  CHECK(good->seams->p95_px < 1);
  CHECK(good->seams->plain_share > 0.05);
  CHECK_FALSE(has(good->found, FindingKind::seam_misfit));

  // A turn about the lenses' axis moves lens 1 around the ring, which no depth explains.
  RigTemplate knocked = house().body;
  Quat& mount = knocked.solution.rig.lenses[1].rig_from_lens;
  mount = quat_from_rotation_vector(rad_from_deg(0.6) * Vec3::UnitZ()) * mount;
  const auto turned = check_shot("library_1", knocked, house().library, options);
  if (!turned) FAIL(turned.error().line());
  REQUIRE(turned->seams);
  const double moved_px = rad_from_deg(0.6) * knocked.rig().peak_px_per_rad() * kFrame_px /
                          knocked.rig().lenses[0].lens.width_px;
  CAPTURE(moved_px, turned->seams->p95_px);
  CHECK(turned->seams->p95_px > 0.7 * moved_px);
  std::vector<double> sizes;
  for (const SeamPlace& place : turned->seams->places) {
    if (tells(place)) sizes.push_back(place.shows_px);
  }
  std::sort(sizes.begin(), sizes.end());
  REQUIRE(sizes.size() > 20);
  CHECK(sizes[sizes.size() / 2] < 1.2 * moved_px);
  CHECK(has(turned->found, FindingKind::seam_misfit));
  for (const Finding& finding : turned->found.findings) {
    if (finding.kind != FindingKind::seam_misfit) continue;
    CHECK(finding.place);
    CHECK_THAT(finding.words, Catch::Contains("px at longitude") || Catch::Contains("not show"));
  }
}

TEST_CASE("frames that are no shot of the body are refused", "[check]") {
  const auto& frames = house().library;
  const auto one = check_shot("one", house().body, std::span(frames).first(1));
  REQUIRE_FALSE(one);
  CHECK_THAT(one.error().line(), Catch::Contains("1 of them, the template has 2 lenses"));
  std::vector<Frame> wide = frames;
  for (Frame& frame : wide) frame.image = Image(400, 200, Channels::rgb, SampleType::u16);
  const auto shaped = check_shot("wide", house().body, wide);
  REQUIRE_FALSE(shaped);
  CHECK_THAT(shaped.error().line(), Catch::Contains("does not have the shape"));
  const auto bad = check_shot("bad", house().body, frames, {.visible_px = 0});
  REQUIRE_FALSE(bad);
  CHECK_THAT(bad.error().line(), Catch::Contains("visible_px"));
}
