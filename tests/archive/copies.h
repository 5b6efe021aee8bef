#pragma once

#include <chrono>
#include <filesystem>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

#include "base/file.h"
#include "base/file_guard.h"
#include "jobs/archive/run.h"
#include "tests/support/scratch_dir.h"

namespace seamwright::test {

/// Items a, b, c… that copy an input with their settings behind it.
struct Archive {
  ScratchDir dir;
  std::vector<ArchiveItem> items;
  std::map<std::string, int> worked;  // times
  FileGuard guard{FileGuard::Options{}};
  RunOptions options;

  explicit Archive(int count = 4) {
    std::filesystem::create_directories(dir / "in");
    std::filesystem::create_directories(dir / "out");
    options.folder = dir / "out";
    options.sample_every = 0;
    for (int i = 0; i < count; ++i) {
      const std::string name(1, static_cast<char>('a' + i));
      write(name, "pixels of " + name);
      items.push_back({.name = name,
                       .inputs = {input(name)},
                       .settings = "width 64",
                       .outputs = {output(name)}});
    }
  }

  std::filesystem::path input(const std::string& name) const { return dir / "in" / name; }
  std::filesystem::path output(const std::string& name) const {
    return dir / "out" / (name + ".tif");
  }
  std::filesystem::path journal() const { return dir / "out" / ".restitch" / "journal.log"; }

  void write(const std::string& name, const std::string& text) const {
    put_file(input(name), text);
    std::filesystem::last_write_time(
        input(name), std::filesystem::file_time_type::clock::now() - std::chrono::hours(1));
  }

  /// From now on every file that is there is old enough to be remembered.
  void an_hour_later() {
    options.clock = [] {
      return std::chrono::duration_cast<std::chrono::nanoseconds>(
                 (std::chrono::system_clock::now() + std::chrono::hours(1)).time_since_epoch())
          .count();
    };
  }

  Result<std::vector<std::string>> work(const ArchiveItem& item) {
    ++worked[item.name];
    const auto text = read_file(item.inputs[0]);
    if (!text) return tl::unexpected(text.error());
    if (auto done = write_file(item.outputs[0], *text + item.settings); !done) {
      return tl::unexpected(done.error());
    }
    return std::vector<std::string>{"a finding of " + item.name};
  }

  RunReport run() {
    worked.clear();
    auto report =
        run_archive(items, options, [this](const ArchiveItem& item) { return work(item); });
    if (!report) FAIL(report.error().line());
    return std::move(*report);
  }

  /// Every output holds what its input and settings make.
  bool outputs_are_right() const {
    for (const ArchiveItem& item : items) {
      if (get_file(item.outputs[0]) != get_file(item.inputs[0]) + item.settings) return false;
    }
    return true;
  }
};

/// A line as a journal takes it.
inline std::string journal_line(std::string_view entry) {
  return sha256(entry).substr(0, 16) + " " + std::string(entry) + "\n";
}

}  // namespace seamwright::test
