#include "jobs/check/findings.h"

#include <set>

#include <catch2/catch.hpp>

using namespace seamwright;

namespace {

Finding finding(FindingKind kind, double bother_px) {
  return {.kind = kind, .bother_px = bother_px};
}

}  // namespace

TEST_CASE("what bothers most comes first, of findings and of shots", "[check]") {
  ShotFindings calm{.name = "b", .findings = {finding(FindingKind::tilted, 1)}};
  ShotFindings bad{
      .name = "c",
      .findings = {finding(FindingKind::clipped, 2), finding(FindingKind::misaligned, 2),
                   finding(FindingKind::colour_step, 7)}};
  ShotFindings fine{.name = "a", .findings = {}};
  rank(bad.findings);
  CHECK(bad.findings[0].kind == FindingKind::colour_step);
  CHECK(bad.findings[1].kind == FindingKind::misaligned);  // equal: in the order of kinds
  CHECK(bad.score_px() == 7);
  CHECK(fine.score_px() == 0);
  std::vector<ShotFindings> shots = {fine, calm, bad};
  rank(shots);
  CHECK(shots[0].name == "c");
  CHECK(shots[2].name == "a");
}

TEST_CASE("every kind of finding has a name of its own", "[check]") {
  std::set<std::string_view> names;
  for (int kind = 0; kind <= static_cast<int>(FindingKind::told_before); ++kind) {
    names.insert(name_of(static_cast<FindingKind>(kind)));
  }
  CHECK(names.size() == 15);
  CHECK_FALSE(names.contains(""));
}

TEST_CASE("what the stitch told is added once, in words and remedy", "[check]") {
  ShotFindings found{.name = "a", .findings = {finding(FindingKind::cut_subject, 8)}};
  found.findings[0].words = "something is cut by the seam";
  add_told({"something is cut by the seam; look there", "it stands as the body stood; mark an edge",
            "much is clipped"},
           found);
  REQUIRE(found.findings.size() == 3);
  CHECK(found.findings[0].kind == FindingKind::cut_subject);
  CHECK(found.findings[1].kind == FindingKind::told_before);
  CHECK(found.findings[1].words == "it stands as the body stood");
  CHECK(found.findings[1].remedy == "mark an edge");
  CHECK(found.findings[2].words == "much is clipped");
  CHECK_FALSE(found.findings[2].remedy.empty());
}
