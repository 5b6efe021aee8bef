#include "outside_program.h"

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>

#include <fcntl.h>
#include <spawn.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ;

namespace independent {

namespace {

class WorkFolder {
 public:
  WorkFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "independent-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no folder " + name);
    path_ = name;
  }
  WorkFolder(const WorkFolder&) = delete;
  WorkFolder& operator=(const WorkFolder&) = delete;
  ~WorkFolder() {
    std::error_code ignored;
    if (std::getenv("INDEPENDENT_KEEP") == nullptr) std::filesystem::remove_all(path_, ignored);
  }
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  std::string path_;
};

}  // namespace

const std::string& work_folder() {
  static const WorkFolder folder;
  return folder.path();
}

std::string setting(const char* name) {
  const char* value = std::getenv(name);
  if (value == nullptr) throw std::runtime_error(std::string("set ") + name);
  return value;
}

std::string bytes_of(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) throw std::runtime_error("cannot read " + file);
  return {std::istreambuf_iterator<char>(in), {}};
}

Outcome run(const std::vector<std::string>& words) {
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  const std::string out = work_folder() + "/stdout";
  const std::string err = work_folder() + "/stderr";
  posix_spawn_file_actions_t files;
  ::posix_spawn_file_actions_init(&files);
  const int write = O_WRONLY | O_CREAT | O_TRUNC;
  ::posix_spawn_file_actions_addopen(&files, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  ::posix_spawn_file_actions_addopen(&files, STDOUT_FILENO, out.c_str(), write, 0600);
  ::posix_spawn_file_actions_addopen(&files, STDERR_FILENO, err.c_str(), write, 0600);
  pid_t child = 0;
  const int failed =
      ::posix_spawnp(&child, arguments[0], &files, nullptr, arguments.data(), environ);
  ::posix_spawn_file_actions_destroy(&files);
  if (failed != 0) throw std::runtime_error("cannot start " + words[0]);
  int status = 0;
  ::waitpid(child, &status, 0);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), bytes_of(out),
          bytes_of(err)};
}

void write_exif(const std::string& file, const Exif& exif) {
  std::vector<std::string> words = {"exiv2",
                                    "-Mset Exif.Image.Make Ascii Independent",
                                    "-Mset Exif.Photo.DateTimeOriginal Ascii " + exif.taken_at,
                                    "-Mset Exif.Photo.ExposureTime Rational " + exif.exposure,
                                    "-Mset Exif.Photo.FNumber Rational 4/1",
                                    "-Mset Exif.Photo.ISOSpeedRatings Short 200"};
  if (!exif.lens.empty()) words.push_back("-Mset Exif.Photo.LensModel Ascii " + exif.lens);
  words.push_back(file);
  const Outcome outcome = run(words);
  if (outcome.exit_code != 0) throw std::runtime_error("exiv2: " + outcome.err);
}

}  // namespace independent
