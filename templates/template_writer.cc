#include <fmt/format.h>

#include "base/file.h"
#include "templates/rig_template.h"
#include "templates/shot_keys.h"
#include "templates/template_keys.h"
#include "templates/yaml_text.h"

namespace seamwright {

namespace {

constexpr int kTemplateVersion = 5;

constexpr std::string_view kTemplateIntroduction =
    R"(# The geometry of one multi-lens body, learned from its own frames: how each lens maps directions to
# pixels, where it looks, where its entrance pupil sits. Plain YAML, to be read and compared.
#
#   pixels      continuous: (0, 0) is the outer corner of the top-left pixel, u right, v down
#   directions  x right, y down, z forward, seen along lens 0
#   rotations   rotation vectors (axis times angle), from the lens' directions to the rig's
#   units       stand in the names of the keys
#
# Terms belong to frame_size_px and scale with any other size of the same framing.
)";

std::string fringe_text(const FringeTerms& terms) {
  return fmt::format("{{a0: {}, a1: {}, a2: {}}}", terms.a0, terms.a1, terms.a2);
}

std::string lens_text(const MountedLens& mounted, int index, const PupilUnit& unit) {
  const Lens& lens = mounted.lens;
  std::string text = fmt::format("  # lens {}\n  - curve: {}\n", index, curve_name(lens.curve));
  const auto line = [&](std::string_view key, std::string_view value) {
    text += fmt::format("    {}: {}\n", key, value);
  };
  for (std::size_t term = 0; term < lens.terms.size(); ++term) {
    line(kLensTermNames[term], number_text(lens.terms[term]));
  }
  line("theta_max_deg", degrees_text(lens.theta_max_rad));
  const Vec3 rotation_rad = rotation_vector_from_quat(mounted.rig_from_lens);
  line("rotation_deg", fmt::format("[{}, {}, {}]", degrees_text(rotation_rad.x()),
                                   degrees_text(rotation_rad.y()), degrees_text(rotation_rad.z())));
  line(unit.pupil_key(), vector_text(mounted.pupil));
  line(unit.travel_key(), number_text(mounted.pupil_travel));
  line("fringe_red", fringe_text(lens.red));
  line("fringe_blue", fringe_text(lens.blue));
  const VignettingTerms& fall = lens.vignetting;
  line("vignetting", fmt::format("{{v1: {}, v2: {}, v3: {}}}", fall.v1, fall.v2, fall.v3));
  return text;
}

std::string covariance_text(const TermCovariance& covariance) {
  if (covariance.empty()) return "covariance: []\n";
  std::string text = "covariance:\n";
  for (std::size_t i = 0; i < covariance.names.size(); ++i) {
    std::vector<double> row;
    for (std::size_t j = 0; j <= i; ++j) {
      row.push_back(covariance.values(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j)));
    }
    text += fmt::format("  - {}: {}\n", covariance.names[i], numbers_text(row));
  }
  return text;
}

std::string quality_text(const SolutionQuality& quality) {
  return fmt::format(
      "quality:\n"
      "  shots: {}\n"
      "  ties: {}\n"
      "  ties_rejected: {}\n"
      "  rms_px: {}\n"
      "  max_px: {}\n"
      "  inlier_share: {}\n"
      "  residual_spread: {}\n"
      "  {}: {}\n"
      "  {}: {}\n"
      "  flex_sigma_deg: {}\n",
      quality.shots, quality.ties, quality.ties_rejected, quality.rms_px, quality.max_px,
      quality.inlier_share, quality.residual_spread, kSeamErrorNames.parallax,
      quality.expected_seam_parallax_px, kSeamErrorNames.sideways,
      quality.expected_seam_sideways_px, degrees_text(quality.flex_sigma_rad));
}

std::string sources_text(const std::vector<TemplateSource>& sources) {
  if (sources.empty()) return "learned_from: []\n";
  std::string text = "learned_from:\n";
  for (const TemplateSource& source : sources) {
    text += fmt::format("  - {{file: {}, sha256: {}}}\n", quoted_text(source.file),
                        quoted_text(source.sha256));
  }
  return text;
}

std::string body_files_text(const BodyFiles& files) {
  std::string text;
  if (files.layout) {
    text += fmt::format("layout: {}\n", kLayoutNames[static_cast<std::size_t>(*files.layout)]);
  }
  if (!files.quarter_turns.empty()) {
    text += fmt::format("quarter_turns: [{}]  # clockwise, to set each lens' frame upright\n",
                        fmt::join(files.quarter_turns, ", "));
  }
  if (!files.exif_lenses.empty()) {
    std::vector<std::string> names;
    for (const std::string& name : files.exif_lenses) names.push_back(quoted_text(name));
    text += fmt::format("exif_lenses: [{}]  # lens 0 first\n", fmt::join(names, ", "));
  }
  if (!files.body_serial.empty()) {
    text += fmt::format("body_serial: {}  # in the EXIF of its frames\n",
                        quoted_text(files.body_serial));
  }
  if (!files.lens_serials.empty()) {
    std::vector<std::string> serials;
    for (const std::string& serial : files.lens_serials) serials.push_back(quoted_text(serial));
    text += fmt::format("lens_serials: [{}]  # lens 0 first\n", fmt::join(serials, ", "));
  }
  return text;
}

}  // namespace

std::string format_template(const RigTemplate& value) {
  const Rig& rig = value.rig();
  std::string text(kTemplateIntroduction);
  text += fmt::format("format: {}\nversion: {}\nbody: {}\n", kTemplateFormat, kTemplateVersion,
                      quoted_text(value.body));
  text += fmt::format("mirrored: {}  # true: flip the body's files left to right on the way in\n",
                      value.mirrored);
  text += body_files_text(value.files);
  text += fmt::format("frame_size_px: [{}, {}]\n\nlenses:\n", rig.lenses[0].lens.width_px,
                      rig.lenses[0].lens.height_px);
  for (int i = 0; i < rig.lens_count(); ++i) {
    text +=
        lens_text(rig.lenses[static_cast<std::size_t>(i)], i, rig.metric ? kMetres : kBaselines);
  }
  text += "\n# Joint covariance of the terms that were solved for: lower triangle, a row a term.\n";
  text += covariance_text(value.solution.covariance);
  text += "\n# How well the ties were met; the expected seam error is one sigma at infinity.\n";
  text += quality_text(value.solution.quality);
  text += "\n# The frames it was learned from.\n";
  text += sources_text(value.learned_from);
  return text;
}

Result<void> write_template(const std::filesystem::path& path, const RigTemplate& value) {
  if (const auto error = value.rig().validate()) return fail(*error);
  const std::string text = format_template(value);
  // What the reader would refuse (a NaN in the covariance, a label of two lines) is not written.
  const Result<RigTemplate> again = parse_template(text, path.string());
  if (!again) {
    Error error = again.error();
    error.what = "this template would not be readable: " + error.what;
    return fail(error);
  }
  return write_file(path, text);
}

}  // namespace seamwright
