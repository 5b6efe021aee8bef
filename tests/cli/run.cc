#include "tests/cli/run.h"

#include <algorithm>
#include <cstdlib>
#include <stdexcept>

#include <catch2/catch.hpp>
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"
#include "tests/render/sphere_scene.h"
#include "tests/support/ordinary_user.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/skip.h"

namespace seamwright::test {

namespace {

void redirect(const std::filesystem::path& path, int flags, int descriptor) {
  const int opened = ::open(path.c_str(), flags, 0600);
  if (opened < 0 || ::dup2(opened, descriptor) < 0) ::_exit(127);
  ::close(opened);
}

}  // namespace

std::string program() {
  const char* path = std::getenv("SEAMWRIGHT_PROGRAM");
  if (path != nullptr && std::filesystem::exists(path)) return path;
  skip("the program is not built; set SEAMWRIGHT_PROGRAM");
  return {};
}

Ran run(const std::vector<std::string>& arguments, const std::string& input) {
  const std::string path = program();
  if (path.empty()) throw std::runtime_error("SEAMWRIGHT_PROGRAM names no program");
  const ScratchDir scratch;
  put_file(scratch / "in", input);
  std::vector<char*> argv{const_cast<char*>(path.c_str())};
  for (const std::string& argument : arguments) argv.push_back(const_cast<char*>(argument.c_str()));
  argv.push_back(nullptr);
  const auto in = scratch / "in";
  const auto out = scratch / "out";
  const auto err = scratch / "err";
  const pid_t child = ::fork();
  if (child < 0) throw std::runtime_error("cannot fork");
  if (child == 0) {
    redirect(in, O_RDONLY, STDIN_FILENO);
    redirect(out, O_WRONLY | O_CREAT, STDOUT_FILENO);
    redirect(err, O_WRONLY | O_CREAT, STDERR_FILENO);
    OrdinaryUser::execute(path.c_str(), argv.data());
    ::_exit(127);
  }
  int status = 0;
  rusage usage{};
  ::wait4(child, &status, 0, &usage);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), get_file(out),
          get_file(err), usage.ru_maxrss};
}

std::string pixels_of(const std::string& picture) {
  const auto image = read_image(picture);
  REQUIRE(image);
  const auto bytes = image->bytes();
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

void check_refused(const Ran& ran, const std::string& needle) {
  INFO("stdout: " << ran.out);
  INFO("stderr: " << ran.err);
  CHECK(ran.exit_code == 1);
  CHECK(ran.out.empty());
  CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  CHECK_THAT(ran.err, Catch::StartsWith("seamwright: "));
  CHECK_THAT(ran.err, Catch::Contains(needle));
}

namespace {

// Waves that are everywhere, and finer ones by which the lenses recognise places.
SphereScene rough_scene() {
  return [wide = wavy_scene(6), fine = wavy_scene(23), finest = wavy_scene(37)](const Vec3& d) {
    const Vec3 turned(d.y() + 0.3 * d.x(), d.z(), d.x());
    const Colour a = wide(d), b = fine(turned), c = finest(d);
    Colour sum{};
    for (std::size_t i = 0; i < 3; ++i) sum[i] = 0.4 * a[i] + 0.3 * b[i] + 0.3 * c[i];
    return sum;
  };
}

}  // namespace

SmallShot::SmallShot(const std::filesystem::path& folder, int size_px)
    : folder_(folder), rig_(small_body(71, size_px)) {
  const auto frames = shoot(rig_, rough_scene());
  Image both(2 * size_px, size_px, Channels::rgb, SampleType::u16);
  for (int y = 0; y < size_px; ++y) {
    for (std::size_t i = 0; i < 2; ++i) {
      const auto row = frames[i].image.row<std::uint16_t>(y);
      std::copy(row.begin(), row.end(),
                both.row<std::uint16_t>(y).begin() + static_cast<std::ptrdiff_t>(i) * 3 * size_px);
    }
  }
  RigTemplate value;
  value.body = "Lantern 0001";
  value.solution.rig = rig_;
  const WriteOptions info{.info = FrameInfo{.taken_at = "2024:05:11 10:20:30",
                                            .exposure_s = 1.0 / 30,
                                            .f_number = 4.0,
                                            .iso = 200.0}};
  if (!write_image(front(), frames[0].image, info) || !write_image(back(), frames[1].image, info) ||
      !write_image(at("both.tif"), both) || !write_template(template_file(), value)) {
    throw std::runtime_error("cannot write the test's shot");
  }
}

std::vector<std::string> SmallShot::stitch(const std::string& out,
                                           std::vector<std::string> more) const {
  std::vector<std::string> arguments = {"stitch", "--template", template_file(), front(), back(),
                                        "--out",  out,          "--width",       "256"};
  arguments.insert(arguments.end(), more.begin(), more.end());
  return arguments;
}

void SmallShot::write_shot(const std::string& name,
                           std::optional<TemplateReference> reference) const {
  ShotFile shot;
  shot.frames = {"front.tif", "back.tif"};
  shot.rig_template = std::move(reference);
  if (!write_shot_file(folder_ / name, shot)) throw std::runtime_error("cannot write " + name);
}

}  // namespace seamwright::test
