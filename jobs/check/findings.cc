#include "jobs/check/findings.h"

#include <algorithm>
#include <tuple>

namespace seamwright {

std::string_view name_of(FindingKind kind) {
  switch (kind) {
    case FindingKind::unreadable:
      return "unreadable";
    case FindingKind::mirrored:
      return "mirrored";
    case FindingKind::misaligned:
      return "misaligned";
    case FindingKind::unseen_ring:
      return "unseen_ring";
    case FindingKind::colour_step:
      return "colour_step";
    case FindingKind::blurred:
      return "blurred";
    case FindingKind::clipped:
      return "clipped";
    case FindingKind::tilted:
      return "tilted";
    case FindingKind::cut_subject:
      return "cut_subject";
    case FindingKind::torn:
      return "torn";
    case FindingKind::seam_misfit:
      return "seam_misfit";
    case FindingKind::open_border:
      return "open_border";
    case FindingKind::wrong_shape:
      return "wrong_shape";
    case FindingKind::other_body:
      return "other_body";
    case FindingKind::told_before:
      return "told_before";
  }
  return {};
}

double ShotFindings::score_px() const {
  double score = 0;
  for (const Finding& finding : findings) score = std::max(score, finding.bother_px);
  return score;
}

void add_told(const std::vector<std::string>& told, ShotFindings& found, const BotherRates& rates) {
  for (const std::string& text : told) {
    const bool known =
        std::any_of(found.findings.begin(), found.findings.end(),
                    [&](const Finding& finding) { return text.starts_with(finding.words); });
    if (known) continue;
    const std::size_t end = text.find("; ");
    found.findings.push_back(
        {.kind = FindingKind::told_before,
         .size = 1,
         .bother_px = rates.told_before,
         .words = text.substr(0, end),
         .remedy = end == std::string::npos ? "look at the panorama" : text.substr(end + 2)});
  }
  rank(found.findings);
}

void rank(std::vector<Finding>& findings) {
  std::stable_sort(findings.begin(), findings.end(), [](const Finding& a, const Finding& b) {
    return std::tuple(-a.bother_px, a.kind) < std::tuple(-b.bother_px, b.kind);
  });
}

void rank(std::vector<ShotFindings>& shots) {
  std::stable_sort(shots.begin(), shots.end(), [](const ShotFindings& a, const ShotFindings& b) {
    return std::tuple(-a.score_px(), a.name) < std::tuple(-b.score_px(), b.name);
  });
}

}  // namespace seamwright
