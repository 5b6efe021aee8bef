#include "apps/cli/touch_report.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/enum_names.h"
#include "templates/choice_names.h"

namespace seamwright {

namespace {

std::string_view range_word(const Tie& tie) { return name_in(kRangeNames, tie.range); }

std::string fit_text(const TieFit& fit) {
  return fmt::format("{:+.2f} px in parallax, {:+.2f} px sideways ({:.1f} sigmas)", fit.parallax_px,
                     fit.sideways_px, fit.sigmas);
}

void tell_ties(const Console& console, const TouchReport& report) {
  for (std::size_t i = 0; i < report.manual; ++i) {
    const TouchTie& tie = report.result.ties[i];
    std::string line = fmt::format("tie {} ({}): {}; after {}", i + 1, range_word(report.ties[i]),
                                   fit_text(tie.before), fit_text(tie.after));
    if (report.ties[i].range != TieRange::far && tie.after.distance_m > 0) {
      line += fmt::format(", stands at {:.3g} m", tie.after.distance_m);
    }
    if (!tie.used) line += ", left out";
    console.say(line);
  }
  const std::size_t automatic = report.ties.size() - report.manual;
  if (automatic == 0) return;
  const auto used = std::count_if(report.result.ties.begin() + static_cast<long>(report.manual),
                                  report.result.ties.end(), [](const auto& t) { return t.used; });
  console.say(fmt::format("{} automatic ties, {} of them used", automatic, used));
}

void tell_seam(const Console& console, const TouchResult& result) {
  console.say(
      fmt::format("the seam moved by {:.2f} px in parallax, {:.2f} px sideways (RMS, at infinity)",
                  result.seam_moved.parallax_rms_px, result.seam_moved.sideways_rms_px));
  console.say(
      fmt::format("expected at the seam, 1 sigma at infinity: {:.2f} px in parallax, {:.2f} px "
                  "sideways before; {:.2f} "
                  "px in parallax, {:.2f} px sideways after",
                  result.seam_before.parallax_rms_px, result.seam_before.sideways_rms_px,
                  result.seam_after.parallax_rms_px, result.seam_after.sideways_rms_px));
}

nlohmann::json fit_json(const TieFit& fit) {
  return {{"parallax_px", fit.parallax_px},
          {"sideways_px", fit.sideways_px},
          {"sigmas", fit.sigmas},
          {"distance_m", fit.distance_m}};
}

nlohmann::json ties_json(const TouchReport& report) {
  nlohmann::json ties = nlohmann::json::array();
  for (std::size_t i = 0; i < report.ties.size(); ++i) {
    const TouchTie& tie = report.result.ties[i];
    nlohmann::json sights = nlohmann::json::array();
    for (const TieSight& sight : report.ties[i].sights) {
      sights.push_back({{"lens", sight.lens}, {"u_px", sight.px.x()}, {"v_px", sight.px.y()}});
    }
    ties.push_back({{"manual", i < report.manual},
                    {"range", range_word(report.ties[i])},
                    {"sights", sights},
                    {"azimuth_deg", deg_from_rad(tie.psi_rad)},
                    {"before", fit_json(tie.before)},
                    {"after", fit_json(tie.after)},
                    {"used", tie.used},
                    {"suspect", tie.suspect}});
  }
  return ties;
}

nlohmann::json summary_json(const SeamSummary& seam) {
  return {{"parallax_px", seam.parallax_rms_px}, {"sideways_px", seam.sideways_rms_px}};
}

nlohmann::json seam_json(const TouchResult& result) {
  nlohmann::json azimuths = nlohmann::json::array();
  for (const TouchSeam& seam : result.seam) {
    azimuths.push_back({{"lens_a", seam.lens_a},
                        {"lens_b", seam.lens_b},
                        {"azimuth_deg", deg_from_rad(seam.psi_rad)},
                        {"parallax_before_px", seam.parallax_before_px},
                        {"sideways_before_px", seam.sideways_before_px},
                        {"parallax_after_px", seam.parallax_after_px},
                        {"sideways_after_px", seam.sideways_after_px}});
  }
  return {{"moved_rms", summary_json(result.seam_moved)},
          {"expected_before", summary_json(result.seam_before)},
          {"expected_after", summary_json(result.seam_after)},
          {"azimuths", azimuths}};
}

}  // namespace

void tell_touch(const Console& console, const TouchReport& report) {
  const TouchResult& result = report.result;
  if (report.ties.empty()) {
    console.say("no ties: the template stands as it is");
    return;
  }
  tell_ties(console, report);
  console.say(fmt::format(
      "moved by {:.1f} sigmas of the template, {} farthest ({:.1f}); flex of {:.3f} degrees where "
      "the template learned {:.3f}",
      result.moved_sigmas, result.worst_term.empty() ? "no term" : result.worst_term,
      result.worst_term_sigmas, deg_from_rad(result.flex_rad),
      deg_from_rad(result.learned_flex_rad)));
  tell_seam(console, result);
  for (const std::string& finding : result.findings) console.say("finding: " + finding);
  for (const std::string& advice : result.advice) console.say("to do better: " + advice);
}

nlohmann::json touch_as_json(const TouchReport& report) {
  const TouchResult& result = report.result;
  nlohmann::json step = nlohmann::json::object();
  for (std::size_t i = 0; i < result.names.size(); ++i) {
    step[result.names[i]] = result.step[static_cast<Eigen::Index>(i)];
  }
  return {{"command", "touch"},
          {"shot_file", report.shot_file},
          {"template", report.template_file},
          {"moved_sigmas", result.moved_sigmas},
          {"worst_term", result.worst_term},
          {"worst_term_sigmas", result.worst_term_sigmas},
          {"contradicts_template", result.contradicts_template},
          {"flex_deg", deg_from_rad(result.flex_rad)},
          {"learned_flex_deg", deg_from_rad(result.learned_flex_rad)},
          {"step", step},
          {"seam", seam_json(result)},
          {"ties", ties_json(report)},
          {"solve_ms", report.solve_ms},
          {"findings", result.findings},
          {"advice", result.advice}};
}

}  // namespace seamwright
