#include "apps/report/learn_page.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "apps/report/lens_figures.h"
#include "apps/report/markup.h"
#include "apps/report/ring_figures.h"
#include "apps/report/stand_map.h"
#include "apps/report/style.h"
#include "base/file.h"
#include "base/make_folder.h"

namespace seamwright {

namespace {

using report::escaped;
using report::paragraph;
using report::section;

constexpr const char* kFile = "report.html";

// Beyond this, px in a panorama of native size, a careful eye finds the seam on fine lines.
constexpr double kSeenFrom_px = 1;

double expected_seam_px(const SolutionQuality& quality) {
  return std::hypot(quality.expected_seam_parallax_px, quality.expected_seam_sideways_px);
}

// The size alone; what to think of it is the reader's.
std::string seam_size(double seam_px) {
  if (seam_px <= 0.25) return "Far things meet to a quarter of a pixel.";
  if (seam_px <= 0.5) return "Far things meet to half a pixel.";
  if (seam_px <= kSeenFrom_px) return "Far things meet to a pixel.";
  return fmt::format("Far things meet to {:.1f} pixels; what would make it better stands below.",
                     std::ceil(10 * seam_px) / 10);
}

std::string headline(const LearnOutcome& outcome) {
  const RigSolution& solution = outcome.rig_template.solution;
  const SolutionQuality& quality = solution.quality;
  const double seam_px = expected_seam_px(quality);
  std::string out = fmt::format("<h1>{}</h1>\n", escaped(outcome.rig_template.body));
  out += fmt::format(
      "<p class=\"lead\">{} lenses, learned from {} {} in {} {}. Frames of {} × {} px.</p>\n",
      solution.rig.lens_count(), quality.shots, quality.shots == 1 ? "shot" : "shots",
      outcome.rounds, outcome.rounds == 1 ? "round" : "rounds",
      solution.rig.lenses[0].lens.width_px, solution.rig.lenses[0].lens.height_px);
  out += fmt::format("<div class=\"summary{}\">\n", seam_px <= kSeenFrom_px ? "" : " noted");
  out += fmt::format("<p><strong>{}</strong></p>\n", seam_size(seam_px));
  out += fmt::format(
      "<p>Expected at the seam, far away, one standard deviation: {:.2f} px in parallax and {:.2f} "
      "px sideways.</p>\n</div>\n",
      quality.expected_seam_parallax_px, quality.expected_seam_sideways_px);
  out += "<ul class=\"facts\">\n";
  const auto fact = [&](const std::string& value, const std::string& what) {
    out += fmt::format("<li><b>{}</b> {}</li>\n", escaped(value), escaped(what));
  };
  fact(std::to_string(quality.ties),
       fmt::format("ties and tracks used, {} rejected", quality.ties_rejected));
  fact(fmt::format("{:.3f} px", quality.rms_px), "RMS of what the ties miss by");
  fact(fmt::format("{:.1f} %", 100 * quality.inlier_share), "of the ties agree");
  fact(fmt::format("{:.2f}", quality.residual_spread), "residual spread; 1 is as sure as claimed");
  fact(fmt::format("{:.3f}°", deg_from_rad(quality.flex_sigma_rad)),
       "flex of the body between shots");
  return out + "</ul>\n";
}

std::string advice(const LearnOutcome& outcome) {
  std::string body;
  std::string items;
  for (const WeakDirection& weak : outcome.rig_template.solution.weak) {
    items += fmt::format("<li>{} ({:.2f} px at the seam): {}.</li>\n", escaped(weak.what),
                         weak.seam_px, escaped(weak.remedy));
  }
  if (items.empty()) {
    body = paragraph("Nothing stays weak: the shots hold every term that the seam can feel.");
  } else {
    body = paragraph("The shots leave open, largest first:") + "<ul>\n" + items + "</ul>\n";
  }
  std::string notes;
  const std::vector<std::string>& held = outcome.solve.held_at_nominal;
  if (!held.empty()) {
    notes += fmt::format("<li>Not told by these shots, held at nominal: {}</li>\n",
                         escaped(fmt::format("{}", fmt::join(held, ", "))));
  }
  for (const std::string& note : outcome.notes)
    notes += fmt::format("<li>{}</li>\n", escaped(note));
  for (const std::string& note : outcome.colour.notes) {
    notes += fmt::format("<li>{}</li>\n", escaped(note));
  }
  for (const ShotOutcome& shot : outcome.shots) {
    if (shot.left_out.empty()) continue;
    notes += fmt::format("<li>Shot {} was left out: {}</li>\n", escaped(shot.name),
                         escaped(shot.left_out));
  }
  if (!notes.empty()) body += paragraph("Worth knowing:") + "<ul>\n" + notes + "</ul>\n";
  return section("What would make it better", body);
}

std::string in_pairs(const std::string& figures) {
  return "<div class=\"pair\">\n" + figures + "</div>\n";
}

std::string lens_sections(const LearnOutcome& outcome) {
  std::string residuals;
  std::string colours;
  for (int lens = 0; lens < outcome.rig_template.rig().lens_count(); ++lens) {
    residuals += report::residual_figure(outcome, lens);
    colours += report::fringe_figure(outcome, lens);
  }
  return section("Where the ties are, and what they miss by", in_pairs(residuals)) +
         section("Colour fringes and vignetting",
                 in_pairs(colours + report::vignetting_figure(outcome)));
}

std::string shots_section(const LearnOutcome& outcome) {
  std::vector<std::vector<std::string>> rows;
  for (const ShotOutcome& shot : outcome.shots) {
    const bool counted = shot.left_out.empty();
    rows.push_back({shot.name, counted ? "yes" : "left out", std::to_string(shot.ties),
                    std::to_string(shot.tracks), std::to_string(shot.inliers),
                    counted ? fmt::format("{:.3f}", shot.rms_px) : "–",
                    counted ? fmt::format("{:.3f}", shot.flex_deg) : "–"});
  }
  const std::string table = report::table(
      "Ties join the lenses of a shot, tracks join it to others. Inliers: those that agree. Flex: "
      "how far "
      "a lens was turned against its mount in that shot.",
      {"shot", "counted", "ties", "tracks", "inliers", "RMS px", "flex °"}, rows, 2);
  return section("The shots", table + in_pairs(report::coverage_figures(outcome)));
}

// A term of one lens and its sigma; "held" where the shots did not move it.
std::vector<std::string> value_and_sigma(const TermCovariance& covariance, std::size_t lens,
                                         const std::string& term, double value) {
  const auto at = std::find(covariance.names.begin(), covariance.names.end(),
                            fmt::format("lens{}.{}", lens, term));
  std::string sigma = "held";
  if (at != covariance.names.end()) {
    const auto i = at - covariance.names.begin();
    sigma = fmt::format("{:.2g}", std::sqrt(covariance.values(i, i)));
  }
  return {fmt::format("{:.7g}", value), sigma};
}

// A row a term, two columns a lens.
std::string terms_section(const LearnOutcome& outcome) {
  const RigSolution& solution = outcome.rig_template.solution;
  std::vector<std::string> header = {"term"};
  std::vector<std::vector<std::string>> rows;
  const auto add = [&](const std::string& term, const auto& value_of) {
    std::vector<std::string> row = {term};
    for (std::size_t i = 0; i < solution.rig.lenses.size(); ++i) {
      const auto cells =
          value_and_sigma(solution.covariance, i, term, value_of(solution.rig.lenses[i]));
      row.insert(row.end(), cells.begin(), cells.end());
    }
    rows.push_back(std::move(row));
  };
  for (std::size_t i = 0; i < solution.rig.lenses.size(); ++i) {
    header.push_back(fmt::format("lens {}", i));
    header.emplace_back("sigma");
  }
  for (std::size_t term = 0; term < kLensTermCount; ++term) {
    add(std::string(kLensTermNames[term]),
        [&](const MountedLens& mounted) { return mounted.lens.terms[term]; });
  }
  const char axes[] = {'x', 'y', 'z'};
  for (int a = 0; a < 3; ++a) {
    add(fmt::format("rotation_{}_rad", axes[a]), [&](const MountedLens& mounted) {
      return rotation_vector_from_quat(mounted.rig_from_lens)[a];
    });
  }
  for (int a = 0; a < 3; ++a) {
    add(fmt::format("pupil_{}", axes[a]),
        [&](const MountedLens& mounted) { return mounted.pupil[a]; });
  }
  return section("Every term, and how sure it is",
                 report::table("Values for this frame size; sigma is one standard deviation. Held: "
                               "fixed by the start or by convention.",
                               header, rows, 1));
}

std::string picture(const std::string& jpeg, const std::string& told) {
  return report::figure(
      fmt::format("<img alt=\"{}\" src=\"data:image/jpeg;base64,{}\"/>", escaped(told), jpeg),
      told);
}

// What no number tells, and what to do about it.
std::string first_look_section(const FirstLook& look) {
  if (look.panorama.empty()) return {};
  std::string body = fmt::format(
      "<p><strong>Does writing read the right way round?</strong> If not, {}. <strong>Is the room "
      "upright?</strong> If not, {}.</p>\n",
      escaped(look.if_mirrored), escaped(look.if_not_upright));
  body += picture(look.panorama, look.shot + ", stitched plainly with this template");
  std::string lenses;
  for (std::size_t lens = 0; lens < look.lenses.size(); ++lens) {
    lenses += picture(look.lenses[lens], fmt::format("What lens {} looks at", lens));
  }
  return section("Look first", body + in_pairs(lenses));
}

std::string how_to_read() {
  return section(
      "How to read this",
      paragraph("A tie is one place in the room that two frames see. Learning bends the model of "
                "the body until every tie's sights meet; what is left over is the residual.") +
          paragraph("Parallax is across the seam, from lens to lens: the way a near object shifts. "
                    "Sideways is along the seam: nothing but an error of the model. One "
                    "standard deviation: two times in three the true error is smaller.") +
          paragraph("Azimuths go once around the ring in which two lenses overlap. Pixels are "
                    "those of the frames."));
}

}  // namespace

std::string learn_page(const LearnOutcome& outcome, const FirstLook& look) {
  std::string body = headline(outcome);
  body += first_look_section(look);
  body += advice(outcome);
  const std::string seam = report::seam_figures(outcome);
  body += section("How sure the seam is, and how far things were",
                  in_pairs(seam + report::depth_figure(outcome)));
  body += lens_sections(outcome);
  body += shots_section(outcome);
  const std::string maps = report::stand_map_figures(outcome.stands);
  if (!maps.empty()) body += section("Where the shots stood", in_pairs(maps));
  body += terms_section(outcome);
  body += how_to_read();
  return report::page(outcome.rig_template.body + ": what was learned", report::style_sheet(),
                      body);
}

Result<void> check_report_folder(const std::filesystem::path& dir) {
  if (auto made = make_folder(dir, "report"); !made) return made;
  const auto probe = PendingFile::create(dir / kFile);
  if (!probe) return fail(probe.error());
  return {};
}

Result<void> write_learn_page(const std::filesystem::path& dir, const LearnOutcome& outcome,
                              const FirstLook& look) {
  if (auto ready = check_report_folder(dir); !ready) return ready;
  return write_file(dir / kFile, learn_page(outcome, look));
}

}  // namespace seamwright
