#pragma once

// Runs the real program, named by SEAMWRIGHT_PROGRAM, the way a shell does.

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "imaging/frame.h"
#include "projection/rig.h"
#include "templates/shot_file.h"

namespace seamwright::test {

struct Ran {
  int exit_code = -1;  ///< 128 + signal where the program was killed
  std::string out;
  std::string err;
  long peak_kib = 0;  ///< the most memory it held

  [[nodiscard]] nlohmann::json json() const { return nlohmann::json::parse(out); }
};

/// The program's path; empty where it is not built, and the case is skipped.
[[nodiscard]] std::string program();

/// Runs it with arguments (not interpreted by a shell) and `input` as stdin.
[[nodiscard]] Ran run(const std::vector<std::string>& arguments, const std::string& input = {});

/// A picture's samples as bytes: what it shows, not what it says of itself.
[[nodiscard]] std::string pixels_of(const std::string& picture);

/// Checks what every failure must look like: exit 1, nothing on stdout, one line on stderr that
/// starts with "seamwright: " and holds `needle`.
void check_refused(const Ran& ran, const std::string& needle);

/// A small two-lens body and a shot of it in a folder: T.template.yaml, front.tif, back.tif,
/// both.tif (side by side).
class SmallShot {
 public:
  explicit SmallShot(const std::filesystem::path& folder, int size_px = 160);

  [[nodiscard]] std::string at(const std::string& name) const { return (folder_ / name).string(); }
  [[nodiscard]] std::string template_file() const { return at("T.template.yaml"); }
  [[nodiscard]] std::string front() const { return at("front.tif"); }
  [[nodiscard]] std::string back() const { return at("back.tif"); }
  [[nodiscard]] const Rig& rig() const { return rig_; }

  /// `stitch` of this shot to `out`, 256 px wide, with more arguments.
  [[nodiscard]] std::vector<std::string> stitch(const std::string& out,
                                                std::vector<std::string> more = {}) const;
  /// A shot file of front and back that names this template, if any.
  void write_shot(const std::string& name, std::optional<TemplateReference> reference) const;

 private:
  std::filesystem::path folder_;
  Rig rig_;
};

}  // namespace seamwright::test
