#include "apps/cli/learn_report.h"

#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/file.h"

namespace seamwright {

namespace {

struct TermLine {
  std::string name;
  double value = 0;
  std::optional<double> sigma;  ///< empty: held fixed
};

// Values in the order of the rig, sigmas by name from the covariance.
std::vector<TermLine> term_lines(const RigSolution& solution) {
  std::vector<TermLine> lines;
  const auto add = [&](std::size_t lens, std::string_view term, double value) {
    lines.push_back({fmt::format("lens{}.{}", lens, term), value, std::nullopt});
  };
  for (std::size_t i = 0; i < solution.rig.lenses.size(); ++i) {
    const MountedLens& mounted = solution.rig.lenses[i];
    for (std::size_t term = 0; term < kLensTermCount; ++term) {
      add(i, kLensTermNames[term], mounted.lens.terms[term]);
    }
    const Vec3 rotation = rotation_vector_from_quat(mounted.rig_from_lens);
    const std::string_view axes[] = {"x", "y", "z"};
    for (int a = 0; a < 3; ++a) add(i, fmt::format("rotation_{}_rad", axes[a]), rotation[a]);
    for (int a = 0; a < 3; ++a) add(i, fmt::format("pupil_{}", axes[a]), mounted.pupil[a]);
    add(i, "pupil_travel", mounted.pupil_travel);
  }
  const TermCovariance& covariance = solution.covariance;
  for (TermLine& line : lines) {
    for (std::size_t i = 0; i < covariance.names.size(); ++i) {
      const auto index = static_cast<Eigen::Index>(i);
      if (covariance.names[i] == line.name) line.sigma = std::sqrt(covariance.values(index, index));
    }
  }
  return lines;
}

// What the fringes were at the rim, and how much light is lost there.
void tell_colour(const Console& console, const LearnOutcome& outcome) {
  for (std::size_t i = 0; i < outcome.colour.fringes.size(); ++i) {
    const Lens& lens = outcome.rig_template.rig().lenses[i].lens;
    const double rim_px = lens.rim_radius_px();
    const LensFringes& fits = outcome.colour.fringes[i];
    console.say(fmt::format(
        "lens {}: at the rim red lies {:+.2f} px from green, blue {:+.2f} px (sure to {:.3f}, "
        "{:.3f})",
        i, rim_px * (lens.red.scale(1) - 1), rim_px * (lens.blue.scale(1) - 1),
        fits.red.sigma_px(1, rim_px), fits.blue.sigma_px(1, rim_px)));
  }
  const auto& lenses = outcome.colour.photometry.lenses;
  for (std::size_t i = 0; i < lenses.size(); ++i) {
    if (!lenses[i].learned) continue;
    console.say(
        fmt::format("lens {}: brightness at the rim {:.1f} % of the middle (sure to {:.1f})", i,
                    100 * lenses[i].vignetting.gain(1), 100 * lenses[i].rim_sigma));
  }
  for (std::size_t i = 1; i < lenses.size() && outcome.colour.photometry.points > 0; ++i) {
    console.say(fmt::format("lens {}: {:+.2f} EV against lens 0", i,
                            outcome.colour.photometry.gain_ev[i][1]));
  }
  for (const std::string& note : outcome.colour.notes) console.say(note);
}

nlohmann::json colour_as_json(const LearnOutcome& outcome) {
  nlohmann::json lenses = nlohmann::json::array();
  const Rig& rig = outcome.rig_template.rig();
  for (std::size_t i = 0; i < rig.lenses.size(); ++i) {
    const Lens& lens = rig.lenses[i].lens;
    const double rim_px = lens.rim_radius_px();
    nlohmann::json one = {{"red_at_rim_px", rim_px * (lens.red.scale(1) - 1)},
                          {"blue_at_rim_px", rim_px * (lens.blue.scale(1) - 1)},
                          {"brightness_at_rim", lens.vignetting.gain(1)},
                          {"vignetting_learned", false}};
    if (i < outcome.colour.fringes.size()) {
      const LensFringes& fits = outcome.colour.fringes[i];
      one["red_sigma_px"] = fits.red.sigma_px(1, rim_px);
      one["blue_sigma_px"] = fits.blue.sigma_px(1, rim_px);
    }
    if (i < outcome.colour.photometry.lenses.size()) {
      one["vignetting_learned"] = outcome.colour.photometry.lenses[i].learned;
      one["gain_ev"] = outcome.colour.photometry.gain_ev[i];
    }
    lenses.push_back(std::move(one));
  }
  return {{"lenses", lenses}, {"notes", outcome.colour.notes}};
}

void tell_shot(const Console& console, const ShotOutcome& shot) {
  if (!shot.left_out.empty()) {
    console.say(fmt::format("finding: shot {} was left out: {}", shot.name, shot.left_out));
    return;
  }
  std::string line =
      fmt::format("shot {}: {} ties, {} tracks, {} of them fit, RMS {:.3f} px, flex {:.3f} degrees",
                  shot.name, shot.ties, shot.tracks, shot.inliers, shot.rms_px, shot.flex_deg);
  if (!shot.empty_sectors_deg.empty()) {
    line += fmt::format("; no ties at {:.0f} degrees around the ring",
                        fmt::join(shot.empty_sectors_deg, ", "));
  }
  console.say(line);
}

void tell_stand(const Console& console, const Stand& stand) {
  if (stand.network == kNoNetwork) {
    console.say(fmt::format("{}: sees nothing that another shot sees", stand.shot));
    return;
  }
  console.say(fmt::format(
      "{}: room {}, {:+.3f} m right, {:+.3f} m ahead (sigma {:.3f} m), heading {:+.1f} degrees",
      stand.shot, stand.network + 1, stand.position_m.x(), stand.position_m.z(),
      std::hypot(stand.position_sigma_m.x(), stand.position_sigma_m.z()), stand.heading_deg));
}

}  // namespace

nlohmann::json stands_as_json(const std::vector<Stand>& stands) {
  nlohmann::json all = nlohmann::json::array();
  for (const Stand& stand : stands) {
    nlohmann::json entry = {{"shot", stand.shot}, {"network", nullptr}};
    if (stand.network != kNoNetwork) {
      const auto triple = [](const Vec3& v) { return nlohmann::json{v.x(), v.y(), v.z()}; };
      entry["network"] = stand.network;
      entry["position_m"] = triple(stand.position_m);
      entry["position_sigma_m"] = triple(stand.position_sigma_m);
      entry["heading_deg"] = stand.heading_deg;
      entry["heading_sigma_deg"] = stand.heading_sigma_deg;
    }
    all.push_back(std::move(entry));
  }
  return all;
}

Result<void> write_map(const std::string& file, const LearnOutcome& outcome) {
  const nlohmann::json map = {
      {"format", "seamwright-map"},
      {"version", 1},
      {"axes", "of the rig in the first shot of a network: x right, y down, z ahead; metres"},
      {"body", outcome.rig_template.body},
      {"stands", stands_as_json(outcome.stands)}};
  return write_file(file, map.dump(2) + "\n");
}

void tell_learned(const Console& console, const std::string& file, const LearnOutcome& outcome,
                  bool terms) {
  const RigSolution& solution = outcome.rig_template.solution;
  const SolutionQuality& quality = solution.quality;
  for (const std::string& note : outcome.notes) console.say(note);
  for (const ShotOutcome& shot : outcome.shots) tell_shot(console, shot);
  if (outcome.stands.size() > 1) {
    for (const Stand& stand : outcome.stands) tell_stand(console, stand);
  }
  console.say(fmt::format("{} ties, {} rejected; RMS {:.3f} px, largest {:.2f} px", quality.ties,
                          quality.ties_rejected, quality.rms_px, quality.max_px));
  console.say(fmt::format("inliers {:.1f} %, residual spread {:.2f} (1: as sure as claimed)",
                          100 * quality.inlier_share, quality.residual_spread));
  console.say(fmt::format(
      "expected at the seam, 1 sigma at infinity: {:.2f} px in parallax, {:.2f} px sideways",
      quality.expected_seam_parallax_px, quality.expected_seam_sideways_px));
  if (!outcome.solve.held_at_nominal.empty()) {
    console.say(fmt::format("not supported by the data, held at nominal: {}",
                            fmt::join(outcome.solve.held_at_nominal, ", ")));
  }
  tell_colour(console, outcome);
  for (const WeakDirection& weak : solution.weak) {
    console.say(
        fmt::format("weak: {} ({:.1f} px at the seam); {}", weak.what, weak.seam_px, weak.remedy));
  }
  if (terms) {
    for (const TermLine& line : term_lines(solution)) {
      console.say(fmt::format("  {:<22} {:>14.8g} {}", line.name, line.value,
                              line.sigma ? fmt::format("sigma {:.3g}", *line.sigma) : "held"));
    }
  }
  console.say(fmt::format("{}: {} from {} shots in {} rounds", file, outcome.rig_template.body,
                          quality.shots, outcome.rounds));
}

nlohmann::json learned_as_json(const std::string& file, const LearnOutcome& outcome) {
  const RigSolution& solution = outcome.rig_template.solution;
  const SolutionQuality& quality = solution.quality;
  nlohmann::json shots = nlohmann::json::array();
  for (const ShotOutcome& shot : outcome.shots) {
    shots.push_back({{"name", shot.name},
                     {"ties", shot.ties},
                     {"tracks", shot.tracks},
                     {"inliers", shot.inliers},
                     {"rms_px", shot.rms_px},
                     {"flex_deg", shot.flex_deg},
                     {"empty_sectors_deg", shot.empty_sectors_deg},
                     {"left_out", shot.left_out}});
  }
  nlohmann::json weak = nlohmann::json::array();
  for (const WeakDirection& direction : solution.weak) {
    weak.push_back(
        {{"what", direction.what}, {"remedy", direction.remedy}, {"seam_px", direction.seam_px}});
  }
  nlohmann::json terms = nlohmann::json::object();
  for (const TermLine& line : term_lines(solution)) {
    terms[line.name] = {{"value", line.value}, {"sigma", nullptr}};
    if (line.sigma) terms[line.name]["sigma"] = *line.sigma;
  }
  return {{"command", "learn"},
          {"template", file},
          {"body", outcome.rig_template.body},
          {"mirrored", outcome.rig_template.mirrored},
          {"rounds", outcome.rounds},
          {"last_move_px", outcome.last_move_px},
          {"ties", quality.ties},
          {"ties_rejected", quality.ties_rejected},
          {"rms_px", quality.rms_px},
          {"max_px", quality.max_px},
          {"inlier_share", quality.inlier_share},
          {"residual_spread", quality.residual_spread},
          {"expected_seam_parallax_px", quality.expected_seam_parallax_px},
          {"expected_seam_sideways_px", quality.expected_seam_sideways_px},
          {"flex_sigma_deg", deg_from_rad(quality.flex_sigma_rad)},
          {"shots", shots},
          {"stands", stands_as_json(outcome.stands)},
          {"weak", weak},
          {"terms", terms},
          {"colour", colour_as_json(outcome)},
          {"notes", outcome.notes}};
}

}  // namespace seamwright
