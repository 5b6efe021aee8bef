#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/inspect.h"
#include "base/readable_text.h"
#include "compose/render/render.h"

namespace seamwright {

namespace {

constexpr std::array<std::string_view, kLensTermCount> kTermHelp = {
    "px per radian", "px", "px", "", "", "", "", "aspect", "shear", "decentring", "decentring"};

void tell_lens(const RigTemplate& value, std::size_t index) {
  const Rig& rig = value.rig();
  const MountedLens& mounted = rig.lenses[index];
  const Lens& lens = mounted.lens;
  const Vec3 rotation = rotation_vector_from_quat(mounted.rig_from_lens) * (180.0 / kPi);
  fmt::print("lens {}\n", index);
  fmt::print("  curve      {}, {:.1f} degrees of view, rim at {:.1f} px\n", curve_name(lens.curve),
             2 * deg_from_rad(lens.theta_max_rad), lens.rim_radius_px());
  for (std::size_t term = 0; term < kLensTermCount; ++term) {
    fmt::print("  {:<10} {:<.9g} {}\n", kLensTermNames[term], lens.terms[term], kTermHelp[term]);
  }
  fmt::print("  rotation   {:.5f} {:.5f} {:.5f} degrees (rotation vector)\n", rotation.x(),
             rotation.y(), rotation.z());
  if (rig.metric) {
    fmt::print("  pupil      {:.2f} {:.2f} {:.2f} mm\n", 1000 * mounted.pupil.x(),
               1000 * mounted.pupil.y(), 1000 * mounted.pupil.z());
  } else {
    fmt::print("  pupil      {:.4f} {:.4f} {:.4f} baselines\n", mounted.pupil.x(),
               mounted.pupil.y(), mounted.pupil.z());
  }
}

void tell_files(const BodyFiles& files) {
  if (files.layout && *files.layout != FrameLayout::one_per_file) {
    fmt::print("  files      all lenses in one, {}\n",
               *files.layout == FrameLayout::stacked ? "stacked" : "side by side");
  }
  if (!files.quarter_turns.empty()) {
    fmt::print("  turned     {} quarter turns clockwise, lens by lens\n",
               fmt::join(files.quarter_turns, ", "));
  }
  if (!files.exif_lenses.empty()) {
    fmt::print("  in EXIF    {}\n", fmt::join(files.exif_lenses, ", "));
  }
  if (!files.body_serial.empty()) fmt::print("  serial     {}\n", files.body_serial);
  if (!files.lens_serials.empty()) {
    fmt::print("  of lenses  {}\n", fmt::join(files.lens_serials, ", "));
  }
}

void tell_people(const std::string& file, const RigTemplate& value) {
  const Rig& rig = value.rig();
  const Lens& first = rig.lenses[0].lens;
  const SolutionQuality& quality = value.solution.quality;
  fmt::print("{}: {}\n", printable_text(file),
             value.body.empty() ? "a body without a label" : value.body);
  fmt::print("{} lenses, frames of {} x {} px{}, native panorama {} px wide\n", rig.lens_count(),
             first.width_px, first.height_px, value.mirrored ? ", mirrored" : "",
             native_width(rig));
  tell_files(value.files);
  for (std::size_t i = 0; i < rig.lenses.size(); ++i) tell_lens(value, i);
  if (quality.ties > 0) {
    fmt::print(
        "learned from {} shots: {} ties, {} rejected, RMS {:.3f} px, largest {:.2f} px, inliers "
        "{:.1f} %, spread {:.2f}\n",
        quality.shots, quality.ties, quality.ties_rejected, quality.rms_px, quality.max_px,
        100 * quality.inlier_share, quality.residual_spread);
    fmt::print(
        "expected at the seam, 1 sigma at infinity: {:.2f} px in parallax, {:.2f} px sideways\n",
        quality.expected_seam_parallax_px, quality.expected_seam_sideways_px);
  } else {
    fmt::print("not learned from any shot: a nominal or given geometry\n");
  }
  for (const TemplateSource& source : value.learned_from) {
    fmt::print("  {} {}\n", source.sha256.substr(0, 12), source.file);
  }
}

nlohmann::json lens_json(const MountedLens& mounted) {
  const Lens& lens = mounted.lens;
  const Vec3 rotation = rotation_vector_from_quat(mounted.rig_from_lens) * (180.0 / kPi);
  nlohmann::json terms;
  for (std::size_t term = 0; term < kLensTermCount; ++term) {
    terms[std::string(kLensTermNames[term])] = lens.terms[term];
  }
  return {{"curve", curve_name(lens.curve)},
          {"theta_max_deg", deg_from_rad(lens.theta_max_rad)},
          {"terms", terms},
          {"rotation_deg", {rotation.x(), rotation.y(), rotation.z()}},
          {"pupil", {mounted.pupil.x(), mounted.pupil.y(), mounted.pupil.z()}},
          {"pupil_travel", mounted.pupil_travel}};
}

nlohmann::json as_json(const std::string& file, const RigTemplate& value) {
  const Rig& rig = value.rig();
  const SolutionQuality& quality = value.solution.quality;
  nlohmann::json lenses = nlohmann::json::array();
  for (const MountedLens& mounted : rig.lenses) lenses.push_back(lens_json(mounted));
  nlohmann::json sources = nlohmann::json::array();
  for (const TemplateSource& source : value.learned_from) {
    sources.push_back({{"file", source.file}, {"sha256", source.sha256}});
  }
  return {{"command", "inspect"},
          {"template", file},
          {"body", value.body},
          {"mirrored", value.mirrored},
          {"body_serial", value.files.body_serial},
          {"lens_serials", value.files.lens_serials},
          {"metric", rig.metric},
          {"width_px", rig.lenses[0].lens.width_px},
          {"height_px", rig.lenses[0].lens.height_px},
          {"native_width_px", native_width(rig)},
          {"lenses", lenses},
          {"quality",
           {{"shots", quality.shots},
            {"ties", quality.ties},
            {"ties_rejected", quality.ties_rejected},
            {"rms_px", quality.rms_px},
            {"max_px", quality.max_px},
            {"inlier_share", quality.inlier_share},
            {"residual_spread", quality.residual_spread},
            {"expected_seam_parallax_px", quality.expected_seam_parallax_px},
            {"expected_seam_sideways_px", quality.expected_seam_sideways_px}}},
          {"learned_from", sources}};
}

}  // namespace

Result<Outcome> inspect_template(const std::string& file, const RigTemplate& value,
                                 const Console& console) {
  if (console.json()) {
    console.answer(as_json(file, value));
  } else {
    tell_people(file, value);
  }
  return Outcome::done;
}

}  // namespace seamwright
