// An archive of small shots, stitched over and over: killed, stopped, short of disk, changed.

#include <csignal>
#include <cstdlib>
#include <filesystem>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"
#include "tests/cli/archive_shots.h"
#include "tests/cli/run.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;
using test::seed;
using test::Shots;

namespace {

namespace fs = std::filesystem;

/// Starts the program and kills it after some time; true where it was still at work.
bool killed_after(const std::vector<std::string>& arguments, double seconds) {
  const pid_t child = ::fork();
  if (child == 0) test::become_program(arguments);
  ::usleep(static_cast<useconds_t>(1e6 * seconds));
  ::kill(child, SIGKILL);
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFSIGNALED(status);
}

struct Peak {
  int exit_code = -1;
  long resident_kib = 0;  // most at once
};

/// Runs the program with at most so much address space; 0: as much as it likes.
Peak run_within(const std::vector<std::string>& arguments, std::size_t address_bytes) {
  const pid_t child = ::fork();
  if (child == 0) {
    if (address_bytes > 0) {
      const rlimit limit{address_bytes, address_bytes};
      ::setrlimit(RLIMIT_AS, &limit);
    }
    test::become_program(arguments);
  }
  int status = 0;
  rusage usage{};
  ::wait4(child, &status, 0, &usage);
  return {.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : -1,
          .resident_kib = usage.ru_maxrss};
}

}  // namespace

TEST_CASE("restitch does each shot once, and after a kill goes on where it was") {
  if (test::program().empty()) return;
  CAPTURE(seed());
  const Shots shots(12);
  const auto whole = run(shots.command("whole", {"--json"}));
  INFO(whole.err);
  REQUIRE((whole.exit_code == 0 || whole.exit_code == 2));
  REQUIRE(whole.json().at("shots").size() == 12);
  const auto wanted = shots.tree("whole");
  REQUIRE(wanted.size() == 24);

  test::Random random(61);
  for (const int at_once : {1, 3}) {
    CAPTURE(at_once);
    const std::string out = fmt::format("killed_{}", at_once);
    const auto command = shots.command(out, {"--at-once", std::to_string(at_once)});
    int kills = 0;
    for (int i = 0; i < 6; ++i) {
      kills += killed_after(command, random.uniform(0.02, 0.4)) ? 1 : 0;
    }
    const auto resumed = run(command);
    REQUIRE((resumed.exit_code == 0 || resumed.exit_code == 2));
    CHECK(shots.tree(out) == wanted);
    CHECK(kills > 0);
    CHECK(shots.begun(out) <= shots.count() + at_once * kills);

    // A run that finds all done does nothing.
    const auto again = run(command);
    CHECK_THAT(again.err, Catch::Contains("0 stitched, 12 done before, 0 failed"));
    CHECK(shots.begun(out) <= shots.count() + at_once * kills);
  }

  // Three machines, then one that reports.
  for (const char* part : {"1/3", "2/3", "3/3"}) {
    const auto ran = run(shots.command("parts", {"--part", part}));
    CHECK((ran.exit_code == 0 || ran.exit_code == 2));
  }
  CHECK(shots.tree("parts") == wanted);
  CHECK_THAT(run(shots.command("parts")).err, Catch::Contains("0 stitched, 12 done before"));
}

TEST_CASE("restitch does again what changed, and nothing else") {
  if (test::program().empty()) return;
  const Shots shots(3);
  REQUIRE(run(shots.command("out")).exit_code != 1);
  shots.write(1, 17);
  const auto dry = run(shots.command("out", {"--dry-run"}));
  CHECK_THAT(dry.err, Catch::Contains("room01: to do (inputs changed)") &&
                          Catch::Contains("0 stitched, 2 done before, 0 failed, 1 to do"));
  const auto ran = run(shots.command("out"));
  CHECK_THAT(ran.err, Catch::Contains("1 stitched, 2 done before"));
  // Another width is other bytes.
  const auto wider = run(shots.command("out", {"--dry-run"}, "320"));
  CHECK_THAT(wider.err, Catch::Contains("settings changed") && Catch::Contains("3 to do"));
}

TEST_CASE("a panorama says what it was made from, and finish keeps that") {
  if (test::program().empty()) return;
  const Shots shots(1);
  REQUIRE(run(shots.command("out")).exit_code != 1);
  const std::string room = (shots.dir / "out" / "room00.tif").string();
  const auto told = run({"inspect", room, "--json"}).json().at("frames")[0].at("made_from");
  CHECK_THAT(told.at("program").get<std::string>(), Catch::StartsWith("Seamwright "));
  REQUIRE(told.at("files").size() == 2);
  CHECK(told.at("files")[0].at("name") == "room00_back.tif");
  CHECK(told.at("files")[0].at("sha256") == *sha256_of_file(shots.frame(0, "back")));
  CHECK(told.at("template_sha256") == *sha256_of_file(shots.dir / "T.template.yaml"));
  CHECK_THAT(run({"inspect", room}).out, Catch::Contains("room00_front.tif"));

  const std::string done = (shots.dir / "done.jpg").string();
  REQUIRE(run({"finish", room, "--out", done}).exit_code == 0);
  CHECK(run({"inspect", done, "--json"}).json().at("frames")[0].at("made_from") == told);
  // Nothing of where or when it was made.
  const std::string bytes = test::get_file(room);
  CHECK(bytes.find(shots.dir.path().string()) == std::string::npos);
}

TEST_CASE("of several templates each shot takes the one that fits, or none") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  REQUIRE(
      run({"demo", dir.path().string(), "--frame", "400", "--no-panoramas", "--shots", "library_1"})
          .exit_code == 0);
  const std::string own = (dir / "truth" / "body.template.yaml").string();
  // Another body: its back lens looks two degrees elsewhere.
  auto other = read_template(own);
  REQUIRE(other);
  Quat& mount = other->solution.rig.lenses[1].rig_from_lens;
  mount = quat_from_rotation_vector(rad_from_deg(2) * Vec3(0.5, 0.5, 0.7)) * mount;
  const std::string foreign = (dir / "foreign.yaml").string();
  REQUIRE(write_template(foreign, *other));
  other->body += " again";
  const std::string again = (dir / "again.yaml").string();
  REQUIRE(write_template(again, *other));
  const auto restitch = [&](const std::string& first, const std::string& second,
                            std::vector<std::string> more = {}) {
    more.insert(more.begin(),
                {"restitch", (dir / "frames").string(), "--template", first, "--template", second,
                 "--out", (dir / "out").string(), "--width", "256", "--seam", "plain"});
    return run(more);
  };
  const auto fits = restitch(foreign, own);
  INFO(fits.err);
  CHECK_THAT(fits.err, Catch::Contains("1 stitched"));
  const auto made = run({"inspect", (dir / "out" / "library_1.tif").string(), "--json"});
  CHECK(made.json().at("frames")[0].at("made_from").at("template_sha256") == *sha256_of_file(own));
  // By the number of the body in EXIF, though another one would fit: labels are believed.
  other->body = "Lantern 0001";
  REQUIRE(write_template(again, *other));
  auto elsewhere = read_template(own);
  REQUIRE(elsewhere);
  elsewhere->body = "Lantern 00012";
  const std::string near = (dir / "near.yaml").string();
  REQUIRE(write_template(near, *elsewhere));
  const auto believed = restitch(near, again);
  CHECK(believed.exit_code == 1);
  CHECK_THAT(believed.err, Catch::Contains("this is another body's template"));
  REQUIRE(restitch(near, again, {"--anyway"}).exit_code == 2);
  const auto labelled = run({"inspect", (dir / "out" / "library_1.tif").string(), "--json"});
  CHECK(labelled.json().at("frames")[0].at("made_from").at("template_sha256") ==
        *sha256_of_file(again));
  CHECK(labelled.json().at("frames")[0].at("body_serial").is_null());
  other->body = "Lantern 0002";
  REQUIRE(write_template(again, *other));
  other->body = "Lantern 0003";
  REQUIRE(write_template(foreign, *other));
  const auto none = restitch(foreign, again);
  CHECK(none.exit_code == 1);
  CHECK_THAT(none.err, Catch::Contains("none of the 2 fits"));
}

TEST_CASE("a run ends with the ranked list of check over its shots") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  REQUIRE(run({"demo", dir.path().string(), "--frame", "400", "--no-panoramas", "--shots",
               "library_1", "hall_1"})
              .exit_code == 0);
  // Half a frame fails by itself; the other shot is refused, its lenses exchanged, and judged.
  const std::string torn = (dir / "frames" / "hall_1_back.tif").string();
  const std::string bytes = test::get_file(torn);
  test::put_file(torn, bytes.substr(0, bytes.size() / 2));
  fs::rename(dir / "frames" / "library_1_front.tif", dir / "frames" / "x.tif");
  fs::rename(dir / "frames" / "library_1_back.tif", dir / "frames" / "library_1_front.tif");
  fs::rename(dir / "frames" / "x.tif", dir / "frames" / "library_1_back.tif");
  const std::string page = (dir / "worst.html").string();
  std::vector<std::string> command = {"restitch",   (dir / "frames").string(),
                                      "--template", (dir / "truth" / "body.template.yaml").string(),
                                      "--out",      (dir / "out").string(),
                                      "--width",    "256",
                                      "--seam",     "plain",
                                      "--pattern",  "(?<shot>\\w+_\\d)_(?<lens>front|back)\\.tif",
                                      "--page",     page,
                                      "--json"};
  const auto checked = run(command);
  INFO(checked.err);
  CHECK(checked.exit_code == 1);  // neither came to a panorama
  const nlohmann::json list = checked.json().at("checked");
  REQUIRE(list.size() == 2);
  CHECK(list[0].at("name") == "hall_1");
  CHECK_THAT(list[0].at("failure").get<std::string>(), Catch::Contains("hall_1_back.tif"));
  CHECK(list[1].at("findings")[0].at("kind") == "unreadable");
  CHECK_THAT(test::get_file(page), Catch::Contains("lenses are swapped"));
  command.back() = "--dry-run";
  test::check_refused(run(command), "--page");
}

TEST_CASE("restitch says what fails and does the rest") {
  if (test::program().empty()) return;
  const Shots shots(3);
  const std::string torn = test::get_file(shots.frame(1, "back"));
  test::put_file(shots.frame(1, "back"), torn.substr(0, torn.size() / 2));
  const auto ran = run(shots.command("out", {"--json"}));
  CHECK(ran.exit_code == 2);
  const auto told = ran.json().at("shots");
  REQUIRE(told.size() == 3);
  CHECK(told[1].at("state") == "failed");
  CHECK_THAT(told[1].at("why").get<std::string>(), Catch::Contains("room01_back.tif"));
  CHECK(shots.tree("out").size() == 4);
  test::put_file(shots.frame(1, "back"), torn);
  CHECK_THAT(run(shots.command("out")).err, Catch::Contains("1 stitched, 2 done before"));

  test::put_file(shots.dir / "file", "no folder");
  test::check_refused(run(shots.command("file")), "a folder is needed");
  test::check_refused(run(shots.command("out", {"--part", "4/3"})), "'4/3' is not one part");
  auto without = shots.command("out");
  without.erase(without.begin() + 2, without.begin() + 4);
  test::check_refused(run(without), "--template");
}

// The address sanitizer keeps what was freed: its memory says nothing.
TEST_CASE("memory is that of one shot, however many there are") {
  if (test::program().empty()) return;
  const Shots few(2);
  const Shots many(12);
  const Peak two = run_within(few.command("out"), 0);
  const Peak twelve = run_within(many.command("out"), 0);
  REQUIRE(two.exit_code == 0);
  REQUIRE(twelve.exit_code == 0);
  CAPTURE(two.resident_kib, twelve.resident_kib);
  CHECK(static_cast<double>(twelve.resident_kib) < 1.15 * static_cast<double>(two.resident_kib));
  // With a bound on the address space: the libraries, the stacks of two threads, one shot.
  const Peak bounded = run_within(many.command("bounded", {"--threads", "2"}), 1 << 30);
  CHECK(bounded.exit_code == 0);
  CHECK(many.tree("bounded") == many.tree("out"));
}

TEST_CASE("restitch bears a full disk") {
  if (test::program().empty()) return;
  const Shots shots(2);
  // No file may grow beyond 40 blocks of 512 or 1024 bytes: the panoramas take 196 kB.
  std::string line = "trap '' XFSZ; ulimit -f 40; exec '" + test::program() + "'";
  for (const std::string& word : shots.command("out")) line += " '" + word + "'";
  const std::string told = (shots.dir / "told").string();
  const int status = std::system(fmt::format("({}) 2>'{}'", line, told).c_str());
  CHECK(WEXITSTATUS(status) == 1);  // nothing came of it
  CHECK_THAT(test::get_file(told), Catch::Contains("2 failed"));
  CHECK(shots.tree("out").empty());
  CHECK_THAT(run(shots.command("out")).err, Catch::Contains("2 stitched"));
}

TEST_CASE("a run file says the same as the command line") {
  if (test::program().empty()) return;
  const Shots shots(2);
  REQUIRE(run(shots.command("out")).exit_code != 1);
  const std::string file = (shots.dir / "house.run.yaml").string();
  const std::string text =
      "format: seamwright-run\nversion: 1\nshots: [\"frames\"]\n"
      "templates: [\"T.template.yaml\"]\nout: \"by-file\"\nwidth_px: 256\njpeg: {}\n"
      "pattern: \"(?<shot>room\\\\d+)_(?<lens>front|back)\\\\.tif\"\n";
  test::put_file(file, text);
  const auto ran = run({"restitch", file});
  INFO(ran.err);
  REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
  CHECK(shots.tree("by-file") == shots.tree("out"));
  test::check_refused(run({"restitch", file, "--out", "elsewhere"}), "is said by the run file");
  const std::string script = (shots.dir / "job.sh").string();
  REQUIRE(run({"restitch", file, "--emit-slurm", script}).exit_code == 0);
  CHECK_THAT(test::get_file(script), Catch::Contains("house.run.yaml"));
  test::put_file(file, text + "widht_px: 3\n");
  test::check_refused(run({"restitch", file}), "widht_px");
  test::check_refused(run({"restitch", shots.frame(0, "front")}), "--out");
}

TEST_CASE("restitch writes a script for a job array") {
  if (test::program().empty()) return;
  const Shots shots(1);
  const std::string script = (shots.dir / "job.sh").string();
  REQUIRE(run(shots.command("out", {"--part", "1/4", "--emit-slurm", script})).exit_code == 0);
  CHECK_THAT(test::get_file(script),
             Catch::Contains("--array=1-4") && Catch::Contains("--dependency=afterany"));
  CHECK_FALSE(fs::exists(shots.dir / "out"));
  CHECK(std::system(fmt::format("sh -n '{}'", script).c_str()) == 0);
}

TEST_CASE("a job's script repeats every option that restitch was given") {
  if (test::program().empty()) return;
  const Shots shots(1);
  const std::string script = (shots.dir / "job.sh").string();
  const std::vector<std::string> values = {
      "--largest-gpx=0.5", "--threads=1",  "--compression=deflate", "--jpeg-quality=80",
      "--rest-s=2.5",      "--seam=plain", "--frames-per-shot=1"};
  const std::vector<std::string> flags = {"--overwrite", "--verify", "--level", "--strip-location"};
  auto words = shots.command("out", {"--emit-slurm", script});
  words.insert(words.end(), values.begin(), values.end());
  words.insert(words.end(), flags.begin(), flags.end());
  const auto ran = run(words);
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const std::string text = test::get_file(script);
  for (const std::string& word : values) CHECK_THAT(text, Catch::Contains(word));
  for (const std::string& word : flags) CHECK_THAT(text, Catch::Contains(word));
}

TEST_CASE("whatever stands in a name stays a name in the job's script") {
  if (test::program().empty()) return;
  const Shots shots(1);
  // An sbatch that runs what it is told to wrap as the first job would be, and a program under an
  // odd name that tells its words.
  const fs::path bin = shots.dir / "bin";
  fs::create_directories(bin);
  const auto script = [](const fs::path& file, const std::string& text) {
    test::put_file(file, "#!/bin/sh\n" + text);
    fs::permissions(file, fs::perms::owner_all);
  };
  script(
      bin / "sbatch",
      "for word; do case $word in --wrap=*)\n"
      "  SLURM_ARRAY_TASK_ID=1 sh -c \"${word#--wrap=}\" >>\"$TOLD\" ;; esac; done\necho 4711\n");
  const fs::path program = bin / "it's $(touch hit) | a & program";
  script(program, "for word; do printf '[%s]' \"$word\"; done; exit 2\n");
  const std::vector<std::string> odd = {"o$(touch hit)",  "o`touch hit`",
                                        "o';touch hit;'", "o\";touch hit;\"",
                                        "o\n touch hit",  "o\\ & touch hit $HOME"};
  int cases = 0;
  for (const std::string& name : odd) {
    CAPTURE(name);
    const std::string out = (shots.dir / name).string();
    const std::string job = (shots.dir / "job.sh").string();
    const std::string told = (shots.dir / "told").string();
    auto words = shots.command(name, {"--emit-slurm", job});
    words.back() = job;
    REQUIRE(run(words).exit_code == 0);
    fs::create_directories(out);  // for the report
    const std::string line = fmt::format(
        "cd '{}' && PATH='{}':\"$PATH\" TOLD='{}' SEAMWRIGHT=\"$(cat '{}')\" sh '{}' "
        ">/dev/null",
        shots.dir.path().string(), bin.string(), told, (shots.dir / "program").string(), job);
    test::put_file(shots.dir / "program", program.string());
    test::put_file(told, "");
    REQUIRE(std::system(line.c_str()) == 0);
    const std::string expected = "[restitch][" + (shots.dir / "frames").string() + "]";
    const std::string first = test::get_file(told);
    CHECK_THAT(first,
               Catch::StartsWith(expected) && Catch::Contains("[--out=" + out + "]") &&
                   Catch::Contains("[--pattern=(?<shot>room\\d+)_(?<lens>front|back)\\.tif]") &&
                   Catch::EndsWith("[--part][1/2]"));
    CHECK_THAT(test::get_file(fs::path(out) / "restitch-report.json"),
               Catch::StartsWith(expected) && Catch::EndsWith("[--json]"));
    CHECK_FALSE(fs::exists(shots.dir / "hit"));
    ++cases;
  }
  CHECK(cases == 6);
}

TEST_CASE("restitch reads everything again where it is asked to") {
  if (test::program().empty()) return;
  const Shots shots(2);
  REQUIRE(run(shots.command("out")).exit_code != 1);
  const std::string room = (shots.dir / "out" / "room01.tif").string();
  const std::string whole = test::get_file(room);
  const auto time = fs::last_write_time(room);
  std::string flipped = whole;
  flipped[flipped.size() / 2] = static_cast<char>(flipped[flipped.size() / 2] ^ 4);
  test::put_file(room, flipped);
  fs::last_write_time(room, time);
  const auto verified = run(shots.command("out", {"--verify", "--dry-run", "--json"}));
  CHECK_THAT(verified.err, Catch::Contains("room01: to do (output changed)") &&
                               Catch::Contains("1 done before, 0 failed, 1 to do"));
  CHECK(verified.json().at("read_again") == 2);
  test::put_file(room, whole);
  CHECK_THAT(run(shots.command("out", {"--verify"})).err,
             Catch::Contains("0 stitched, 2 done before"));
}

TEST_CASE("names that are not UTF-8 are stitched once, and told readably") {
  if (test::program().empty()) return;
  const Shots shots(1);
  const std::string odd = "caf\xE9\x1b[31m_";
  for (const std::string lens : {"front", "back"}) {
    fs::rename(shots.frame(0, lens), shots.dir / "frames" / (odd + lens + ".tif"));
  }
  auto command = shots.command("out");
  command.back() = "(?<shot>.+)_(?<lens>front|back)\\.tif";
  const auto first = run(command);
  INFO(first.err);
  REQUIRE((first.exit_code == 0 || first.exit_code == 2));
  CHECK_THAT(first.err, Catch::Contains("caf\\xE9\\x1B[31m: stitched (new)"));
  const auto second = run(command);
  CHECK_THAT(second.err, Catch::Contains("0 stitched, 1 done before"));
  for (const auto& told : {first.err, second.err}) {
    CHECK(told.find('\x1b') == std::string::npos);
    CHECK(told.find('\xE9') == std::string::npos);
  }
  const std::string room = (shots.dir / "out" / "caf\xE9\x1b[31m.tif").string();
  REQUIRE(fs::exists(room));
  const auto shown = run({"inspect", room});
  CHECK_THAT(shown.out, Catch::Contains("caf\\xE9\\x1B[31m_front.tif"));
  CHECK(shown.out.find('\x1b') == std::string::npos);
  const auto made = run({"inspect", room, "--json"}).json().at("frames")[0].at("made_from");
  CHECK(made.at("files")[0].at("name") == "caf\\xE9\\x1B[31m_back.tif");
  // Kept as it is where the panorama is finished.
  const std::string done = (shots.dir / "done.jpg").string();
  REQUIRE(run({"finish", room, "--out", done}).exit_code == 0);
  CHECK(run({"inspect", done, "--json"}).json().at("frames")[0].at("made_from") == made);
}
