#include <catch2/catch.hpp>

#include "tests/cli/run.h"

using namespace seamwright;
using test::run;

TEST_CASE("The program says its version and teaches its commands") {
  if (test::program().empty()) return;
  const auto version = run({"--version"});
  CHECK(version.exit_code == 0);
  CHECK_THAT(version.out, Catch::Matches("seamwright [0-9]+\\.[0-9]+\\.[0-9]+\n"));
  const auto help = run({"--help"});
  CHECK(help.exit_code == 0);
  CHECK(help.err.empty());
  for (const std::string command : {"learn", "stitch", "touch", "merge", "inspect", "demo"}) {
    CHECK_THAT(help.out, Catch::Contains(command));
    const auto own = run({command, "--help"});
    CHECK(own.exit_code == 0);
    CHECK_THAT(own.out, Catch::Contains("Example"));
    CHECK_THAT(own.out, Catch::Contains("seamwright " + command));
    CHECK_THAT(own.out, Catch::Contains("--json"));
  }
}

TEST_CASE("Who is sent out with a stand is told what to mind, and whose rules come first") {
  if (test::program().empty()) return;
  const auto learn = run({"learn", "--help"});
  CHECK_THAT(learn.out, Catch::Contains("walkways") && Catch::Contains("ask people") &&
                            Catch::Contains("sun") && Catch::Contains("local rules come first"));
}

TEST_CASE("A command line that does not parse is refused in one line") {
  if (test::program().empty()) return;
  test::check_refused(run({}), "--help");
  test::check_refused(run({"paint"}), "paint");
  test::check_refused(run({"stitch"}), "seamwright stitch --help");
  test::check_refused(run({"stitch", "--template", "t", "a", "b"}), "--out");
  test::check_refused(run({"stitch", "--templat", "t", "a", "--out", "b"}), "--templat");
  test::check_refused(run({"demo", "somewhere", "--frame", "many"}), "--frame");
  test::check_refused(run({"inspect", "x", "--threads", "-4"}), "--threads");
  test::check_refused(run({"inspect", "x", "--project", "--unproject"}), "--unproject");
}
