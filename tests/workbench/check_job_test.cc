#include "apps/workbench/check_job.h"

#include <catch2/catch.hpp>

#include "tests/support/scratch_dir.h"
#include "tests/workbench/small_shot.h"

using namespace seamwright;
using namespace seamwright::workbench;

namespace {

std::vector<ShotEntry> entries(const test::ScratchDir& scratch,
                               const std::vector<const char*>& names) {
  std::vector<ShotEntry> list;
  for (const char* name : names) {
    list.push_back({name, scratch / (std::string(name) + ".shot.yaml"), {}});
  }
  return list;
}

Error no_frames(const ShotEntry& entry) {
  return {.kind = ErrorKind::io,
          .where = entry.name,
          .field = {},
          .what = "cannot be read",
          .remedy = "copy it again"};
}

// Until nothing is done any more.
std::string wait_for_end(const CheckJob& job) {
  int seen = -1;
  for (int i = 0; i < 1000; ++i) {
    const std::string state = job.status()["state"];
    if (state != "working") return state;
    seen = job.wait(seen, 1000);
  }
  return "never ended";
}

}  // namespace

TEST_CASE("shots that cannot be checked come first, then the worst, then what is not known") {
  const test::ScratchDir scratch;
  CheckJob job(entries(scratch, {"attic", "bath", "cellar"}),
               [](const ShotEntry& entry) -> Result<OpenedShot> {
                 if (entry.name == "cellar") return fail(no_frames(entry));
                 return test::small_shot();
               });
  CHECK(job.order() == std::vector{0, 1, 2});
  CHECK(job.result(0).is_null());
  CHECK(job.status()["state"] == "idle");
  job.start();
  REQUIRE(wait_for_end(job) == "done");
  CHECK(job.status()["checked"] == 3);
  CHECK(job.order() == std::vector{2, 0, 1});
  CHECK(job.result(2)["failure"] == no_frames({"cellar", {}, {}}).line());
  CHECK(job.picture(2).empty());
  const auto noise = job.result(0);
  CHECK(noise["score_px"] == 100);
  CHECK(noise["findings"][0]["kind"] == "unreadable");
  CHECK_FALSE(noise["findings"][0]["words"].get<std::string>().empty());
  CHECK(job.picture(0).substr(0, 2) == "\xFF\xD8");  // a JPEG

  job.forget(0);
  CHECK(job.result(0).is_null());
  CHECK(job.order() == std::vector{2, 1, 0});
  job.start();
  REQUIRE(wait_for_end(job) == "done");
  CHECK(job.result(0) == noise);
}

TEST_CASE("a check that is stopped knows nothing of the shot it was at, and goes on from there") {
  const test::ScratchDir scratch;
  CheckJob* stopped = nullptr;
  int opened = 0;
  CheckJob job(entries(scratch, {"attic", "bath"}), [&](const ShotEntry&) -> Result<OpenedShot> {
    if (++opened == 2) stopped->cancel();
    return test::small_shot();
  });
  stopped = &job;
  job.start();
  CHECK(wait_for_end(job) == "cancelled");
  CHECK_FALSE(job.result(0).is_null());
  CHECK(job.result(1).is_null());
  job.start();
  CHECK(wait_for_end(job) == "done");
  CHECK_FALSE(job.result(1).is_null());
  CHECK(opened == 3);
}

TEST_CASE("a shot that is saved while it is checked is checked again") {
  const test::ScratchDir scratch;
  CheckJob* saved = nullptr;
  int opened = 0;
  CheckJob job(entries(scratch, {"attic"}), [&](const ShotEntry&) -> Result<OpenedShot> {
    if (++opened == 1) saved->forget(0);
    return test::small_shot();
  });
  saved = &job;
  job.start();
  CHECK(wait_for_end(job) == "done");
  CHECK(opened == 2);
  CHECK_FALSE(job.result(0).is_null());
}
