#pragma once

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/orient.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"
#include "tests/cli/brackets_of_a_shot.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

namespace seamwright::test {

/// A card as cameras write it, and the templates of its three bodies: Lantern 0117 with a lens a
/// file, Lantern 0218 whose files are mirrored, turned and name no lens, Lantern 0319 with both
/// circles in one JPEG.
class DayCard {
 public:
  explicit DayCard(const std::filesystem::path& parent = std::filesystem::temp_directory_path())
      : dir(parent), shot_(dir.path()), front_(picture("front.tif")), back_(picture("back.tif")) {
    for (const auto& [name, serial] : {std::pair("A", "0117"), {"B", "0218"}, {"C", "0319"}}) {
      RigTemplate body;
      body.body = fmt::format("Lantern {}", serial);
      body.mirrored = serial == std::string("0218");
      if (body.mirrored) body.files.quarter_turns = {1, 1};
      body.solution.rig = shot_.rig();
      REQUIRE(write_template(template_of(name), body));
    }
    std::filesystem::create_directories(card());
  }

  [[nodiscard]] std::filesystem::path card() const { return dir / "card"; }
  [[nodiscard]] std::filesystem::path house() const { return dir / "house"; }
  [[nodiscard]] std::filesystem::path run_file() const { return house() / "house.run.yaml"; }
  [[nodiscard]] std::string template_of(const std::string& body) const {
    return (dir / (body + ".template.yaml")).string();
  }
  [[nodiscard]] std::vector<std::string> import(std::vector<std::string> more = {}) const {
    std::vector<std::string> words = {"import", card().string(), "--out", house().string()};
    for (const char* body : {"A", "B", "C"}) {
      words.emplace_back("--template");
      words.push_back(template_of(body));
    }
    words.insert(words.end(), more.begin(), more.end());
    return words;
  }

  /// A frame of Lantern 0117 at a second of a minute from nine o'clock on.
  void take(const std::string& file, const std::string& lens, int minute, int second,
            double ev = 0) const {
    const Image& whole = lens == "front" ? front_ : back_;
    FrameInfo info = told("0117", minute, second, ev);
    info.lens_model = "Lantern fisheye " + lens;
    write(file, exposed(whole, 0.9 * std::exp2(ev)), info);
  }
  /// A shot of one exposure.
  void take_single(const std::string& folder, int number, int minute) const {
    take(fmt::format("{}/LNT_{:04}.tif", folder, number), "front", minute, 0);
    take(fmt::format("{}/LNT_{:04}.tif", folder, number + 1), "back", minute, 0);
  }
  /// A shot of three exposures, both lenses at each.
  void take_bracket(const std::string& folder, int number, int minute) const {
    for (int i = 0; i < 3; ++i) {
      for (const std::string lens : {"front", "back"}) {
        take(fmt::format("{}/LNT_{:04}.tif", folder, number++), lens, minute, i, kSteps_ev[i]);
      }
    }
  }
  void take_mirrored(const std::string& folder, int number, int minute) const {
    const FrameInfo info = told("0218", minute, 0, 0);
    for (const Image* whole : {&front_, &back_}) {
      write(fmt::format("{}/LNT_{:04}.tif", folder, number++),
            rotate_quarter_turns(mirror_left_right(exposed(*whole, 0.9)), -1), info);
    }
  }
  void take_both_circles(const std::string& file, int minute) const {
    write(file, exposed(picture("both.tif"), 0.9), told("0319", minute, 0, 0));
  }
  void write(const std::string& file, const Image& image, const FrameInfo& info) const {
    std::filesystem::create_directories((card() / file).parent_path());
    REQUIRE(write_image(card() / file, image, {.jpeg_quality = 98, .info = info}));
  }
  [[nodiscard]] const Image& front() const { return front_; }
  [[nodiscard]] const Image& back() const { return back_; }

  static FrameInfo told(const std::string& serial, int minute, int second, double ev) {
    FrameInfo info = info_of(second, ev, "");
    info.lens_model.reset();
    info.taken_at =
        fmt::format("2024:05:14 {:02}:{:02}:{:02}", 9 + minute / 60, minute % 60, second);
    info.body_serial = serial;
    return info;
  }

  ScratchDir dir;

 private:
  [[nodiscard]] Image picture(const std::string& name) const {
    auto read = read_image(shot_.at(name));
    REQUIRE(read);
    return std::move(*read);
  }

  SmallShot shot_;
  Image front_;
  Image back_;
};

}  // namespace seamwright::test
