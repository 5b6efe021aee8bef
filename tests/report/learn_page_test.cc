#include "apps/report/learn_page.h"

#include <regex>
#include <string>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/file.h"
#include "tests/report/markup_check.h"
#include "tests/support/rigs.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/ties.h"

namespace seamwright {
namespace {

using Catch::Contains;

// Three stands of a synthetic body, solved: everything a real outcome has.
LearnOutcome synthetic_outcome() {
  test::Random random(3);
  test::RigOptions about;
  about.width_px = about.height_px = 1000;
  const Rig truth = test::random_rig(random, about);
  LearnOutcome outcome;
  for (int shot = 0; shot < 3; ++shot) {
    const auto ties = test::synthetic_ties(
        random, truth, test::box_room({2, 1.4, 3}, {0.1 * shot, 0, 0.3}, Quat::Identity()), shot,
        {.per_pair = 120, .noise_px = 0.2});
    outcome.ties.insert(outcome.ties.end(), ties.begin(), ties.end());
    ShotOutcome stand;
    stand.name = fmt::format("stand {}", shot);
    stand.ties = 120;
    stand.inliers = 118;
    stand.rms_px = 0.123 + shot;
    outcome.shots.push_back(stand);
  }
  ShotOutcome capped;
  capped.name = "capped & dark";
  capped.ties = 3;
  capped.left_out = "only 3 ties < 12";
  outcome.shots.push_back(capped);
  const SharedPrior prior = prior_of(BodySpread{}, truth, all_rig_terms(2));
  auto solve = learn_rig(truth, prior, outcome.ties, 4, {});
  REQUIRE(solve);
  outcome.solve = std::move(*solve);
  outcome.rounds = 2;
  outcome.notes = {"a note with <tags> & more"};
  outcome.colour.notes = {"vignetting not learned"};
  outcome.colour.fringes.resize(2);
  outcome.rig_template.body = "<b>\"Lantern\" & 'x'\x01</b>";
  outcome.rig_template.solution = outcome.solve.solution;
  return outcome;
}

TEST_CASE("the page asks what no number tells, by pictures of the first shot", "[report]") {
  const LearnOutcome outcome = synthetic_outcome();
  CHECK_THAT(learn_page(outcome), !Contains("Look first"));
  const FirstLook look{.shot = "hall & stairs",
                       .panorama = "UEFOTw==",
                       .lenses = {"T05F", "VFdP"},
                       .if_mirrored = "learn again with --mirrored",
                       .if_not_upright = "learn again with --turns 1 1"};
  const std::string page = learn_page(outcome, look);
  CHECK_THAT(page, Contains("Does writing read the right way round?") &&
                       Contains("Is the room upright?") && Contains("--mirrored") &&
                       Contains("--turns 1 1") && Contains("hall &amp; stairs") &&
                       Contains("base64,UEFOTw==") && Contains("What lens 1 looks at"));
  const auto fault = test::markup_fault(page);
  CHECK_FALSE(fault);
}

TEST_CASE("the page says the size of the seam's error, and grades nothing", "[report]") {
  LearnOutcome outcome = synthetic_outcome();
  SolutionQuality& quality = outcome.rig_template.solution.quality;
  quality.expected_seam_sideways_px = 0;
  const auto head_at = [&](double parallax_px) {
    quality.expected_seam_parallax_px = parallax_px;
    const std::string page = learn_page(outcome);
    const auto from = page.find("<strong>") + 8;
    return page.substr(from, page.find("</strong>") - from);
  };
  CHECK(head_at(0.25) == "Far things meet to a quarter of a pixel.");
  CHECK(head_at(0.26) == "Far things meet to half a pixel.");
  CHECK(head_at(0.51) == "Far things meet to a pixel.");
  CHECK_THAT(head_at(1.01), Catch::StartsWith("Far things meet to 1.1 pixels;"));
  CHECK_THAT(head_at(7.5), Catch::StartsWith("Far things meet to 7.5 pixels;"));
}

TEST_CASE("the page is strict markup, whole in itself, and says its numbers", "[report]") {
  const LearnOutcome outcome = synthetic_outcome();
  const std::string page = learn_page(outcome);
  const auto fault = test::markup_fault(page);
  CAPTURE(fault.value_or(""));
  CHECK_FALSE(fault);

  const SolutionQuality& quality = outcome.rig_template.solution.quality;
  CHECK_THAT(page,
             Contains(fmt::format("{:.2f} px in parallax", quality.expected_seam_parallax_px)));
  CHECK_THAT(page, Contains(fmt::format("{:.2f} px sideways", quality.expected_seam_sideways_px)));
  CHECK_THAT(page, Contains(fmt::format("{:.3f} px", quality.rms_px)));
  CHECK_THAT(page, Contains(fmt::format("<b>{}</b>", quality.ties)));
  CHECK_THAT(page, Contains("1.123"));  // the second shot's RMS
  CHECK_THAT(page, Contains("vignetting not learned"));
  for (const WeakDirection& weak : outcome.rig_template.solution.weak) {
    CHECK_THAT(page, Contains(weak.remedy));
  }
  const Lens& lens = outcome.rig_template.rig().lenses[1].lens;
  CHECK_THAT(page, Contains(fmt::format("{:.7g}", lens.terms[kFocal])));
  CHECK_THAT(page, Contains("rotation_y_rad"));
  CHECK_THAT(page, Contains("<div class=\"summary") && Contains(".summary {"));

  for (const char* outside :
       {"http", "//", "url(", "@import", "src=", "<script", "<link", "<b>\""}) {
    CAPTURE(outside);
    CHECK_THAT(page, !Contains(outside));
  }
  CHECK(learn_page(outcome) == page);
}

TEST_CASE("what people typed is shown, not obeyed", "[report]") {
  const LearnOutcome outcome = synthetic_outcome();
  const std::string page = learn_page(outcome);
  const std::string body = "&lt;b&gt;&quot;Lantern&quot; &amp; 'x'\xEF\xBF\xBD&lt;/b&gt;";
  CHECK_THAT(page, Contains("<h1>" + body + "</h1>"));
  CHECK_THAT(page, Contains("<title>" + body + ": what was learned</title>"));
  CHECK_THAT(page, Contains("capped &amp; dark"));
  CHECK_THAT(page, Contains("only 3 ties &lt; 12"));
  CHECK_THAT(page, Contains("a note with &lt;tags&gt; &amp; more"));
}

TEST_CASE("those who listen to the page get all of it", "[report]") {
  const std::string page = learn_page(synthetic_outcome());
  CHECK_THAT(page, Contains("<html lang=\"en\">"));
  const auto count = [&](const std::string& pattern) {
    const std::regex regex(pattern);
    return std::distance(std::sregex_iterator(page.begin(), page.end(), regex),
                         std::sregex_iterator());
  };
  CHECK(count("<svg ") >= 8);
  CHECK(count("<svg [^>]*role=\"img\" aria-label=\"[^\"]+\"") == count("<svg "));
  CHECK(count("<figcaption>") == count("<figure>"));
  CHECK(count("<th>") == 0);
  CHECK(count("<th scope=") > 30);
  CHECK(count("<caption>") == count("<table>"));
  CHECK(count("<h1>") == 1);
}

TEST_CASE("stands that tracks joined are on a map, one a network", "[report]") {
  LearnOutcome outcome = synthetic_outcome();
  outcome.stands = {{.shot = "alone"}, {.shot = "alone too"}};
  CHECK_THAT(learn_page(outcome), !Contains("seen from above"));
  const auto stand = [](const std::string& name, int network, double x_m, double z_m) {
    Stand made;
    made.shot = name;
    made.network = network;
    made.position_m = Vec3(x_m, 0, z_m);
    return made;
  };
  outcome.stands = {stand("hall <1>", 0, 0, 0),
                    stand("hall 2", 0, 1.5, 2),
                    stand("yard 1", 3, 0, 0),
                    stand("yard 2", 3, 4, 1),
                    {.shot = "alone"}};
  const std::string page = learn_page(outcome);
  CHECK_THAT(page, Contains("2 stands seen from above, 1.5 by 2.0 metres"));
  CHECK_THAT(page, Contains("2 stands seen from above, 4.0 by 1.0 metres"));
  CHECK_THAT(page, Contains("hall &lt;1&gt;"));
  CHECK_FALSE(test::markup_fault(page));
}

TEST_CASE("without ties or covariance there is still a page", "[report]") {
  LearnOutcome outcome;
  outcome.rig_template.body = "bare";
  outcome.rig_template.solution.rig = test::nominal_rig();
  outcome.solve.solution.rig = test::nominal_rig();
  const auto fault = test::markup_fault(learn_page(outcome));
  CAPTURE(fault.value_or(""));
  CHECK_FALSE(fault);
}

TEST_CASE("the page is written whole, or refused in one line", "[report]") {
  const test::ScratchDir scratch;
  const LearnOutcome outcome = synthetic_outcome();
  REQUIRE(write_learn_page(scratch.path() / "new" / "folder", outcome));
  const auto written = read_file(scratch.path() / "new" / "folder" / "report.html");
  REQUIRE(written);
  CHECK(*written == learn_page(outcome));

  REQUIRE(write_file(scratch.path() / "taken", "a file"));
  for (const auto& dir : {scratch.path() / "taken", std::filesystem::path("/proc/none")}) {
    const auto refused = check_report_folder(dir);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().line(), Contains(dir.string()));
    CHECK_THAT(refused.error().line(), !Contains("\n"));
    CHECK_FALSE(write_learn_page(dir, outcome));
  }
}

TEST_CASE("the checker itself finds faults", "[report]") {
  for (const char* bad : {"<a><b></a></b>", "<a x=1></a>", "<a>&</a>", "<a/><b/>", "<a", "<a>",
                          "<a x=\"1\" x=\"2\"/>", "<a x=\"&\"/>", "text"}) {
    CAPTURE(bad);
    CHECK(test::markup_fault(bad));
  }
  CHECK_FALSE(test::markup_fault("<!DOCTYPE html>\n<a x=\"1\">&amp;<b/></a>\n"));
}

}  // namespace
}  // namespace seamwright
