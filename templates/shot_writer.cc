#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/file.h"
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
                        quoted_text(frame.file.generic_string()));
    text += frame.ev ? fmt::format(", ev: {}}}\n", number_text(*frame.ev)) : "}\n";
  }
  return text;
}

std::string reference_text(const TemplateReference& reference) {
  std::string text =
      fmt::format("template: {{file: {}", quoted_text(reference.file.generic_string()));
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
    text += fmt::format("  - {}\n", quoted_text(frame.generic_string()));
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

Result<void> write_shot_file(const std::filesystem::path& path, const ShotFile& value) {
  const std::string text = format_shot_file(value);
  // What the reader would refuse (an absolute path, a tie with one sight) is not written.
  const Result<ShotFile> again = parse_shot_file(text, path.string());
  if (!again) {
    Error error = again.error();
    error.what = "this shot would not be readable: " + error.what;
    return fail(error);
  }
  // A person works on it: the version before is kept. A file of another kind is not touched.
  std::error_code code;
  if (std::filesystem::exists(path, code)) {
    const auto before = read_file(path);
    if (!before || before->find("format: seamwright-shot") == std::string::npos) {
      return fail({.kind = ErrorKind::user_input,
                   .where = path.string(),
                   .field = {},
                   .what = "is there already, and is no shot file",
                   .remedy = "give another name"});
    }
  }
  return write_file(path, text, Replacing::previous_kept);
}

std::filesystem::path beside_shot_file(const std::filesystem::path& shot_file,
                                       const std::filesystem::path& relative) {
  return (shot_file.parent_path() / relative).lexically_normal();
}

}  // namespace seamwright
