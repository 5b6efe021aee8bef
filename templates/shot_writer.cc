#include <algorithm>
#include <cmath>
#include <fstream>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/file.h"
#include "templates/relative_path.h"
#include "templates/shot_file.h"
#include "templates/shot_keys.h"
#include "templates/yaml_text.h"

namespace seamwright {

namespace {

constexpr std::string_view kIntroduction =
    R"(# One shot: its frames, how they lie in their files, and ties set by hand. Paths are relative to the
# folder of this file. Pixels are continuous, (0, 0) the outer corner of the top-left one, in the
# frame as it stands upright and not mirrored.
)";

constexpr std::string_view kTouchIntroduction =
    R"(# What the ties move the template by, for this shot alone; only that very template can take it.
)";

constexpr std::string_view kSeamIntroduction =
    R"(# Where the seams are to run: strokes along [longitude, latitude] of the panorama before it is levelled.
)";

constexpr std::string_view kVerticalIntroduction =
    R"(# Edges that are upright: two places [longitude, latitude] of each, on the panorama before it is levelled
# by them.
)";

constexpr std::string_view kBracketIntroduction =
    R"(# All exposures of each of the frames.
)";

std::string bracket_text(const std::vector<BracketFrame>& bracket) {
  std::string text;
  for (const BracketFrame& frame : bracket) {
    text += fmt::format("  {} - {{file: {}", text.empty() ? "-" : " ",
                        quoted_text(relative_path_text(frame.file)));
    text += frame.ev ? fmt::format(", ev: {}}}\n", number_text(*frame.ev)) : "}\n";
  }
  return text;
}

std::string reference_text(const TemplateReference& reference) {
  std::string text =
      fmt::format("template: {{file: {}", quoted_text(relative_path_text(reference.file)));
  if (reference.sha256) text += fmt::format(", sha256: {}", quoted_text(*reference.sha256));
  return text + "}\n";
}

std::string tie_text(const ManualTie& tie) {
  std::string text =
      fmt::format("  - range: {}\n    sigma_px: {}\n    sights:\n",
                  kRangeNames[static_cast<std::size_t>(tie.range)], number_text(tie.sigma_px));
  for (const ManualSight& sight : tie.sights) {
    text += fmt::format("      - {{lens: {}, u_px: {}, v_px: {}}}\n", sight.lens,
                        number_text(sight.px.x()), number_text(sight.px.y()));
  }
  return text;
}

std::string touch_text(const ShotTouch& touch) {
  std::string text(kTouchIntroduction);
  text += "touch:\n  terms:\n";
  for (std::size_t i = 0; i < touch.names.size(); ++i) {
    const std::string& name = touch.names[i];
    text += fmt::format("    {}: {}\n", touch_key(name),
                        is_angle(name) ? degrees_text(touch.step[i]) : number_text(touch.step[i]));
  }
  return text;
}

std::string place_text(const PanoramaPlace& place) {
  return fmt::format("[{}, {}]", degrees_text(place.longitude_rad),
                     degrees_text(place.latitude_rad));
}

std::string stroke_text(const SeamStroke& stroke) {
  std::string text =
      fmt::format("  - wish: {}\n", kWishNames[static_cast<std::size_t>(stroke.wish)]);
  if (stroke.wish == StrokeWish::lens) text += fmt::format("    lens: {}\n", stroke.lens);
  text += fmt::format("    reach_deg: {}\n    path_deg:\n", degrees_text(stroke.reach_rad));
  for (const PanoramaPlace& place : stroke.path) {
    text += fmt::format("      - {}\n", place_text(place));
  }
  return text;
}

std::string vertical_text(const UprightEdge& edge) {
  return fmt::format("  - ends_deg: [{}, {}]\n", place_text(edge.ends[0]),
                     place_text(edge.ends[1]));
}

// Angles are written as degrees and may come back another last digit.
bool same_angle(double a, double b) {
  return std::abs(a - b) <= 1e-14 * std::max(1.0, std::abs(a));
}

bool same_place(const PanoramaPlace& a, const PanoramaPlace& b) {
  return same_angle(a.longitude_rad, b.longitude_rad) && same_angle(a.latitude_rad, b.latitude_rad);
}

bool same_stroke(const SeamStroke& a, const SeamStroke& b) {
  const bool same_lens = a.wish != StrokeWish::lens || a.lens == b.lens;
  return a.wish == b.wish && same_lens && same_angle(a.reach_rad, b.reach_rad) &&
         std::equal(a.path.begin(), a.path.end(), b.path.begin(), b.path.end(), same_place);
}

bool same_edge(const UprightEdge& a, const UprightEdge& b) {
  return std::equal(a.ends.begin(), a.ends.end(), b.ends.begin(), same_place);
}

bool same_intake(const FrameIntake& a, const FrameIntake& b) {
  return a.layout == b.layout && a.lens_count == b.lens_count &&
         a.quarter_turns == b.quarter_turns && a.mirrored == b.mirrored;
}

bool same_touch(const std::optional<ShotTouch>& a, const std::optional<ShotTouch>& b) {
  if (!a || !b) return !a && !b;
  return a->names == b->names &&
         std::equal(a->step.begin(), a->step.end(), b->step.begin(), b->step.end(), same_angle);
}

// Whether what was read (b) is what was written (a).
bool reads_back(const ShotFile& a, const ShotFile& b) {
  return a.frames == b.frames && same_intake(a.intake, b.intake) && a.brackets == b.brackets &&
         a.rig_template == b.rig_template && a.manual_ties == b.manual_ties &&
         same_touch(a.touch, b.touch) &&
         std::equal(a.seam.begin(), a.seam.end(), b.seam.begin(), b.seam.end(), same_stroke) &&
         std::equal(a.verticals.begin(), a.verticals.end(), b.verticals.begin(), b.verticals.end(),
                    same_edge);
}

// What the reader would refuse (an absolute path, a tie with one sight) is not written.
Error unreadable(const std::filesystem::path& path, Error error) {
  error.where = path.string();
  error.what = "this shot would not be readable: " + error.what;
  return error;
}

// Something else that has the name already.
std::optional<Error> other_than_shot_file(const std::filesystem::path& path) {
  std::error_code code;
  if (!std::filesystem::exists(path, code)) return std::nullopt;
  const auto before = read_file(path);
  if (before && before->find("format: seamwright-shot") != std::string::npos) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = path.string(),
               .field = {},
               .what = "is there already, and is no shot file",
               .remedy = "give another name"};
}

// The lowest version that holds it all.
int version_of(const ShotFile& value) {
  if (value.touch) return 6;
  if (!value.verticals.empty()) return 5;
  if (!value.brackets.empty()) return 4;
  return value.seam.empty() ? 1 : 3;
}

}  // namespace

Tie ManualTie::as_tie(int shot) const {
  Tie tie{.shot = shot, .sights = {}, .range = range, .origin = TieOrigin::manual};
  for (const ManualSight& sight : sights) {
    tie.sights.push_back({sight.lens, sight.px, Mat2::Identity() * sigma_px * sigma_px});
  }
  return tie;
}

std::string format_shot_file(const ShotFile& value) {
  std::string text(kIntroduction);
  text += fmt::format("format: {}\nversion: {}\nframes:\n", kShotFormat, version_of(value));
  for (const auto& frame : value.frames) {
    text += fmt::format("  - {}\n", quoted_text(relative_path_text(frame)));
  }
  text += fmt::format("layout: {}\nlens_count: {}\n",
                      kLayoutNames[static_cast<std::size_t>(value.intake.layout)],
                      value.intake.lens_count);
  text += fmt::format("quarter_turns: [{}]  # clockwise, per lens\n",
                      fmt::join(value.intake.quarter_turns, ", "));
  text += fmt::format("mirrored: {}\n", value.intake.mirrored);
  if (!value.brackets.empty()) text += fmt::format("{}brackets:\n", kBracketIntroduction);
  for (const auto& bracket : value.brackets) text += bracket_text(bracket);
  if (value.rig_template) text += reference_text(*value.rig_template);
  if (!value.manual_ties.empty()) text += "manual_ties:\n";
  for (const ManualTie& tie : value.manual_ties) text += tie_text(tie);
  if (value.touch) text += touch_text(*value.touch);
  if (!value.seam.empty()) text += fmt::format("{}seam:\n", kSeamIntroduction);
  for (const SeamStroke& stroke : value.seam) text += stroke_text(stroke);
  if (!value.verticals.empty()) text += fmt::format("{}verticals:\n", kVerticalIntroduction);
  for (const UprightEdge& edge : value.verticals) text += vertical_text(edge);
  return text;
}

Result<std::string> checked_shot_text(const std::filesystem::path& path, const ShotFile& value) {
  std::string text = format_shot_file(value);
  const Result<ShotFile> again = parse_shot_file(text, path.string());
  if (!again) return fail(unreadable(path, again.error()));
  if (reads_back(value, *again)) return text;
  return fail({.kind = ErrorKind::user_input,
               .where = path.string(),
               .field = {},
               .what = "this shot would read back as another one",
               .remedy = "rename frames and template to plain letters, digits and '_'"});
}

Result<void> write_shot_text(const std::filesystem::path& path, std::string_view text) {
  if (auto error = other_than_shot_file(path)) return fail(std::move(*error));
  // A person works on it: the version before is kept.
  auto pending = PendingFile::create(path, Replacing::previous_kept);
  if (!pending) return tl::unexpected(pending.error());
  {
    std::ofstream out(pending->temporary(), std::ios::binary | std::ios::trunc);
    out.write(text.data(), static_cast<std::streamsize>(text.size()));
  }
  const Result<std::string> back = read_file(pending->temporary(), kYamlLimitBytes);
  if (!back || *back != text) {
    return fail({.kind = ErrorKind::io,
                 .where = path.string(),
                 .field = {},
                 .what = "cannot be written whole",
                 .remedy = "make room on the disk and try again; the file is as it was"});
  }
  if (const auto again = parse_shot_file(*back, path.string()); !again) {
    return fail(unreadable(path, again.error()));
  }
  return pending->commit();
}

Result<void> write_shot_file(const std::filesystem::path& path, const ShotFile& value) {
  const Result<std::string> text = checked_shot_text(path, value);
  if (!text) return tl::unexpected(text.error());
  return write_shot_text(path, *text);
}

std::filesystem::path beside_shot_file(const std::filesystem::path& shot_file,
                                       const std::filesystem::path& relative) {
  return (shot_file.parent_path() / relative).lexically_normal();
}

}  // namespace seamwright
