#include <clocale>
#include <cstdlib>
#include <limits>

#include <catch2/catch.hpp>

#include "templates/rig_template.h"
#include "templates/yaml_text.h"
#include "tests/support/matchers.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/skip.h"
#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

void require_same_lens(const MountedLens& a, const MountedLens& b) {
  // theta_max is stored in degrees, whose nearest double may miss the radians by one unit.
  CHECK(a.lens.theta_max_rad == Approx(b.lens.theta_max_rad).epsilon(1e-15).margin(0));
  Lens lens = a.lens;
  lens.theta_max_rad = b.lens.theta_max_rad;
  CHECK(lens == b.lens);
  CHECK_THAT(a.rig_from_lens, same_rotation(b.rig_from_lens, 5e-15));
  CHECK(a.pupil == b.pupil);
  CHECK(a.pupil_travel == b.pupil_travel);
}

void require_same(const RigTemplate& a, const RigTemplate& b) {
  CHECK(a.body == b.body);
  CHECK(a.mirrored == b.mirrored);
  CHECK(a.files == b.files);
  CHECK(a.rig().metric == b.rig().metric);
  REQUIRE(a.rig().lenses.size() == b.rig().lenses.size());
  for (std::size_t i = 0; i < a.rig().lenses.size(); ++i) {
    require_same_lens(a.rig().lenses[i], b.rig().lenses[i]);
  }
  CHECK(a.solution.covariance.names == b.solution.covariance.names);
  CHECK(a.solution.covariance.values == b.solution.covariance.values);
  const SolutionQuality& p = a.solution.quality;
  const SolutionQuality& q = b.solution.quality;
  CHECK(std::tie(p.shots, p.ties, p.ties_rejected) == std::tie(q.shots, q.ties, q.ties_rejected));
  CHECK(std::tie(p.rms_px, p.max_px, p.inlier_share, p.residual_spread, p.expected_seam_parallax_px,
                 p.expected_seam_sideways_px) ==
        std::tie(q.rms_px, q.max_px, q.inlier_share, q.residual_spread, q.expected_seam_parallax_px,
                 q.expected_seam_sideways_px));
  CHECK(p.flex_sigma_rad == Approx(q.flex_sigma_rad).epsilon(1e-15).margin(0));
  REQUIRE(a.learned_from.size() == b.learned_from.size());
  for (std::size_t i = 0; i < a.learned_from.size(); ++i) {
    CHECK(a.learned_from[i].file == b.learned_from[i].file);
    CHECK(a.learned_from[i].sha256 == b.learned_from[i].sha256);
  }
}

/// Largest angle between what two rigs say about the same pixels.
double worst_direction_rad(const Rig& a, const Rig& b, Random& random, int& compared) {
  double worst = 0;
  for (std::size_t i = 0; i < a.lenses.size(); ++i) {
    for (int k = 0; k < 50; ++k) {
      const Vec2 px(random.uniform(0, a.lenses[i].lens.width_px),
                    random.uniform(0, a.lenses[i].lens.height_px));
      const auto direction_a = a.lenses[i].direction_in_rig(px);
      const auto direction_b = b.lenses[i].direction_in_rig(px);
      if (!direction_a || !direction_b) continue;
      worst = std::max(worst, angle_between(*direction_a, *direction_b));
      ++compared;
    }
  }
  return worst;
}

BodyFiles random_files(Random& random, int lens_count) {
  BodyFiles files{.layout = static_cast<FrameLayout>(random.integer(0, 2))};
  for (int i = 0; i < lens_count; ++i) {
    files.quarter_turns.push_back(random.integer(-3, 3));
    files.exif_lenses.push_back(fmt::format("fisheye \"{}\"", i));
  }
  return files;
}

}  // namespace

TEST_CASE("a template reads back as it was written", "[templates]") {
  CAPTURE(seed());
  Random random(1);
  int templates = 0;
  int directions = 0;
  for (const int lens_count : {2, 4, 6}) {
    for (int curve = 0; curve < kLensCurveCount; ++curve) {
      for (int k = 0; k < 5; ++k) {
        RigOptions options{.lens_count = lens_count, .curve = static_cast<LensCurve>(curve)};
        options.pupil_travel_m = 1e-3;
        RigTemplate value = random_template(random, options);
        if (k % 2 == 1) value.files = random_files(random, lens_count);
        if (k == 3) {
          value.files.body_serial = fmt::format("no \"{}\"", random.integer(0, 9999));
          for (int i = 0; i < lens_count; ++i) {
            value.files.lens_serials.push_back(fmt::format("{}", random.integer(0, 9999)));
          }
        }
        const std::string text = format_template(value);
        CHECK_THAT(text, Catch::Contains("\nversion: 5\n"));
        const auto again = parse_template(text, "again.yaml");
        INFO(text);
        if (!again) FAIL(again.error().line());
        require_same(*again, value);
        CHECK(worst_direction_rad(again->rig(), value.rig(), random, directions) <= 1e-12);
        ++templates;
      }
    }
  }
  CHECK(templates == 60);
  CHECK(directions > 5000);
}

TEST_CASE("pupils without a scale stay in baselines", "[templates]") {
  CAPTURE(seed());
  Random random(2);
  RigTemplate value = random_template(random);
  value.solution.rig.metric = false;
  for (MountedLens& lens : value.solution.rig.lenses) lens.pupil /= 0.027;
  const std::string text = format_template(value);
  CHECK(text.find("pupil_baselines: [") != std::string::npos);
  const auto again = parse_template(text, "again.yaml");
  if (!again) FAIL(again.error().line());
  require_same(*again, value);
}

TEST_CASE("a template for half-size frames gives the same directions", "[templates]") {
  CAPTURE(seed());
  Random random(3);
  int compared = 0;
  for (int k = 0; k < 20; ++k) {
    const RigTemplate value = random_template(random);
    const auto read = parse_template(format_template(value), "full.yaml");
    if (!read) FAIL(read.error().line());
    RigTemplate half = *read;
    half.solution.rig = read->rig().scaled_to(1000, 1000);
    const auto half_read = parse_template(format_template(half), "half.yaml");
    if (!half_read) FAIL(half_read.error().line());
    for (std::size_t i = 0; i < 2; ++i) {
      for (int n = 0; n < 100; ++n) {
        const Vec2 px(random.uniform(0, 2000), random.uniform(0, 2000));
        const auto full_direction = value.rig().lenses[i].direction_in_rig(px);
        const auto half_direction = half_read->rig().lenses[i].direction_in_rig(px / 2);
        if (!full_direction || !half_direction) continue;
        CHECK_THAT(*half_direction, same_direction(*full_direction, 1e-9));
        ++compared;
      }
    }
  }
  CHECK(compared > 2000);
}

TEST_CASE("a rotation by half a turn survives", "[templates]") {
  CAPTURE(seed());
  Random random(4);
  for (int k = 0; k < 200; ++k) {
    RigTemplate value = random_template(random);
    const double angle_rad = kPi - (k % 4 == 0 ? 0.0 : random.uniform(0, 1e-7));
    Quat& rotation = value.solution.rig.lenses[1].rig_from_lens;
    rotation = Quat(Eigen::AngleAxisd(angle_rad, random_direction(random)));
    if (k % 2 == 1) rotation.coeffs() *= -1;
    const auto again = parse_template(format_template(value), "again.yaml");
    if (!again) FAIL(again.error().line());
    CHECK_THAT(again->rig().lenses[1].rig_from_lens, same_rotation(rotation, 5e-15));
  }
}

TEST_CASE("numbers are written short and read back to the bit", "[templates]") {
  CHECK(number_text(0.1) == "0.1");
  CHECK(number_text(540) == "540");
  CHECK(degrees_text(rad_from_deg(100)) == "100");
  CHECK(degrees_text(rad_from_deg(-97.3)) == "-97.3");
  CHECK(degrees_text(0) == "0");
  CAPTURE(seed());
  Random random(5);
  for (int k = 0; k < 2000; ++k) {
    const double degrees = random.uniform(-180, 180);
    const std::string text = degrees_text(rad_from_deg(degrees));
    CAPTURE(degrees, text);
    CHECK(rad_from_deg(std::stod(text)) == rad_from_deg(degrees));
  }
}

TEST_CASE("templates are files that are whole or not there", "[templates]") {
  CAPTURE(seed());
  Random random(6);
  const ScratchDir scratch;
  const RigTemplate value = random_template(random);
  const auto path = scratch / "lantern.template.yaml";
  const auto written = write_template(path, value);
  if (!written) FAIL(written.error().line());
  CHECK(get_file(path) == format_template(value));
  const auto again = read_template(path);
  if (!again) FAIL(again.error().line());
  require_same(*again, value);

  RigTemplate broken = value;
  broken.solution.covariance.values(0, 0) = std::numeric_limits<double>::quiet_NaN();
  const auto refused = write_template(path, broken);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().line().find("not a finite number") != std::string::npos);
  CHECK(get_file(path) == format_template(value));

  broken = value;
  broken.body = "two\nlines";
  CHECK_FALSE(write_template(path, broken));
  broken = value;
  broken.solution.rig.lenses[0].rig_from_lens = value.rig().lenses[1].rig_from_lens;
  CHECK_FALSE(write_template(path, broken));
  broken = value;
  broken.solution.rig.lenses.clear();
  CHECK_FALSE(write_template(path, broken));
  CHECK_FALSE(write_template(scratch / "no/such/folder.yaml", value));
  CHECK(scratch.entry_count() == 1);
}

TEST_CASE("numbers do not depend on the locale", "[templates]") {
  CAPTURE(seed());
  Random random(7);
  const RigTemplate value = random_template(random);
  const std::string text = format_template(value);
  const std::string before = std::setlocale(LC_ALL, nullptr);
  // A locale with a decimal comma, made here: none need be installed.
  const ScratchDir locales;
  const std::string made = (locales / "de_DE.UTF-8").string();
  if (std::system(
          ("localedef -i de_DE -f UTF-8 --no-archive " + made + " >/dev/null 2>&1").c_str()) != 0) {
    return skip("localedef or Debian's package locales is not installed");
  }
  ::setenv("LOCPATH", locales.path().c_str(), 1);
  const char* with_comma = std::setlocale(LC_ALL, "de_DE.UTF-8");
  ::unsetenv("LOCPATH");
  REQUIRE(with_comma != nullptr);
  REQUIRE(std::string(std::localeconv()->decimal_point) == ",");
  const std::string text_there = format_template(value);
  const auto read_there = parse_template(text, "locale.yaml");
  std::setlocale(LC_ALL, before.c_str());
  CHECK(text_there == text);
  if (!read_there) FAIL(read_there.error().line());
  require_same(*read_there, value);
}
