#include <filesystem>

#include <catch2/catch.hpp>

#include "imaging/read_image.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;
using test::ScratchDir;

TEST_CASE("demo writes frames that stitch with the true template") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const std::string folder = (scratch / "rooms").string();
  const auto made =
      run({"demo", folder, "--frame", "400", "--shots", "library_1", "--no-panoramas", "--json"});
  INFO(made.err);
  REQUIRE(made.exit_code == 0);
  CHECK(made.json()["shots"] == nlohmann::json::array({"library_1"}));
  const auto stitched =
      run({"stitch", "--template", folder + "/truth/body.template.yaml",
           folder + "/frames/library_1_front.tif", folder + "/frames/library_1_back.tif", "--out",
           (scratch / "pano.tif").string(), "--json"});
  INFO(stitched.err);
  REQUIRE(stitched.exit_code == 0);
  CHECK(stitched.json()["unseen_px"] == 0);
  CHECK(read_image_header(scratch / "pano.tif"));
}

TEST_CASE("demo refuses what it cannot do") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  test::put_file(scratch / "file", "in the way");
  test::check_refused(run({"demo", (scratch / "file").string(), "--frame", "128", "--shots",
                           "library_1", "--no-panoramas"}),
                      "file");
  test::check_refused(run({"demo", (scratch / "d").string(), "--frame", "1"}), "frame");
  test::check_refused(run({"demo", (scratch / "d").string(), "--frame", "128", "--shots", "attic"}),
                      "attic");
  test::check_refused(run({"demo", "/proc/rooms", "--frame", "128", "--shots", "library_1"}),
                      "/proc");
}
