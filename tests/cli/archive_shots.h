#pragma once

#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <unistd.h>

#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

namespace seamwright::test {

/// Shots that differ by a stripe, each a front and a back frame without EXIF.
class Shots {
 public:
  explicit Shots(int count,
                 const std::filesystem::path& parent = std::filesystem::temp_directory_path())
      : dir(parent), shot_(dir.path()), count_(count) {
    std::filesystem::create_directories(dir / "frames");
    for (int i = 0; i < count; ++i) write(i, i);
  }

  void write(int index, int stripe) const {
    for (const std::string lens : {"front", "back"}) {
      auto picture = read_image(shot_.at(lens + ".tif"));
      REQUIRE(picture);
      const auto row = picture->row<std::uint16_t>(picture->height() / 2 + stripe % 20);
      std::ranges::fill(row, static_cast<std::uint16_t>(1000 * stripe + 500));
      REQUIRE(write_image(frame(index, lens), *picture));
    }
  }

  std::string frame(int index, const std::string& lens) const {
    return (dir / "frames" / fmt::format("room{:02}_{}.tif", index, lens)).string();
  }
  std::vector<std::string> command(const std::string& out, std::vector<std::string> more = {},
                                   const std::string& width = "256") const {
    std::vector<std::string> arguments = {"restitch",
                                          (dir / "frames").string(),
                                          "--template",
                                          shot_.template_file(),
                                          "--out",
                                          (dir / out).string(),
                                          "--width",
                                          width,
                                          "--jpeg",
                                          "--pattern",
                                          "(?<shot>room\\d+)_(?<lens>front|back)\\.tif"};
    arguments.insert(arguments.end(), more.begin(), more.end());
    return arguments;
  }

  /// Every file below the folder but the journal, by name.
  std::map<std::string, std::string> tree(const std::string& out) const {
    std::map<std::string, std::string> files;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(dir / out)) {
      if (!entry.is_regular_file() || entry.path().parent_path().filename() == ".restitch")
        continue;
      files[std::filesystem::relative(entry.path(), dir / out).string()] = get_file(entry.path());
    }
    return files;
  }

  int begun(const std::string& out) const {
    std::istringstream journal(get_file(dir / out / ".restitch" / "journal.log"));
    int count = 0;
    for (std::string line; std::getline(journal, line);) {
      count += line.find("\"event\":\"begin\"") != std::string::npos ? 1 : 0;
    }
    return count;
  }
  int count() const { return count_; }

  ScratchDir dir;

 private:
  SmallShot shot_;
  int count_;
};

/// What a child does: it becomes the program, and says nothing.
[[noreturn]] inline void become_program(const std::vector<std::string>& arguments) {
  std::freopen("/dev/null", "w", stderr);
  std::vector<std::string> words = {program()};
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> pointers;
  for (std::string& word : words) pointers.push_back(word.data());
  pointers.push_back(nullptr);
  ::execv(pointers[0], pointers.data());
  ::_exit(127);
}

}  // namespace seamwright::test
