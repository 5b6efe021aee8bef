#pragma once

// A template: the solution of one body, as a YAML file that people read and diff.
//
//   format: seamwright-template
//   version: 5
//
// Terms are stored for the stated frame size and scale exactly to any other size of the same
// framing. Version 5 named the parts of the expected seam error anew, version 4 added serial
// numbers, version 3 how the body's files hold its lenses, version 2 named the terms anew. All are
// read; the newest is written. docs/template-format.md describes every key.

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "imaging/frame.h"
#include "solver/solution.h"

namespace seamwright {

/// One frame a template was learned from.
struct TemplateSource {
  std::string file;
  std::string sha256;
};

/// How a body's files hold its lenses, and by which numbers they tell it, as far as it is known.
struct BodyFiles {
  std::optional<FrameLayout> layout = {};
  std::vector<int> quarter_turns = {};         ///< clockwise, one a lens; empty: none
  std::vector<std::string> exif_lenses = {};   ///< what EXIF calls them, lens 0 first; or empty
  std::string body_serial = {};                ///< EXIF BodySerialNumber of its frames; or empty
  std::vector<std::string> lens_serials = {};  ///< EXIF LensSerialNumber, lens 0 first; or empty

  [[nodiscard]] bool tells_serials() const { return !body_serial.empty() || !lens_serials.empty(); }
  [[nodiscard]] bool any() const {
    return layout || !quarter_turns.empty() || !exif_lenses.empty() || tells_serials();
  }
  bool operator==(const BodyFiles&) const = default;
};

struct RigTemplate {
  std::string body;       ///< label of the body, e.g. "Lantern 0117"
  bool mirrored = false;  ///< the body's files hold mirrored pictures: flip on the way in
  BodyFiles files = {};
  RigSolution solution;  ///< rig, covariance, quality; `weak` is not stored
  std::vector<TemplateSource> learned_from;

  [[nodiscard]] const Rig& rig() const { return solution.rig; }
};

/// Strict: unknown keys, missing terms, wrong units, NaN, a covariance that is not positive
/// definite, a folding lens are refused with file:line, field and remedy. Newer versions are
/// refused politely.
[[nodiscard]] Result<RigTemplate> read_template(const std::filesystem::path& path);
/// The same from text; `name` stands in for the file in errors.
[[nodiscard]] Result<RigTemplate> parse_template(std::string_view yaml, const std::string& name);

/// Numbers are written so that they read back exactly. Atomic.
[[nodiscard]] Result<void> write_template(const std::filesystem::path& path,
                                          const RigTemplate& value);
[[nodiscard]] std::string format_template(const RigTemplate& value);

/// Names of the built-in starting geometries: "two-back-to-back", "four-ring", "six-ring".
[[nodiscard]] std::vector<std::string> starter_names();
/// A nominal geometry for frames of the given size: a circle centred in the frame, its rim at the
/// shorter side's edge.
[[nodiscard]] Result<RigTemplate> starter_template(std::string_view name, int width_px,
                                                   int height_px);

}  // namespace seamwright
