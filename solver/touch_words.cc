#include "solver/touch_words.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "solver/tie_fit.h"

namespace seamwright {

namespace {

void name_suspects(const Rig& rig, std::span<const Tie> ties, TouchResult& result) {
  std::string rivals;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (result.ties[i].rival) rivals += fmt::format(" or tie {}", i + 1);
  }
  for (std::size_t i = 0; i < ties.size(); ++i) {
    const TouchTie& tie = result.ties[i];
    if (!tie.suspect) continue;
    std::string text = fmt::format(
        "tie {} at {} lies {:.1f} px ({:.0f} sigmas) from where the others put it; it was left out "
        "of the solve: correct it or remove it",
        i + 1, azimuth_in_words(rig, tie.lens_a, tie.lens_b, tie.psi_rad),
        std::hypot(tie.after.parallax_px, tie.after.sideways_px), tie.after.sigmas);
    if (!rivals.empty())
      text += fmt::format(" (it is a close call: look at{} too)", rivals.substr(3));
    result.findings.push_back(text);
  }
}

void advise(const Rig& rig, std::span<const Tie> ties, TouchResult& result) {
  if (result.seam.empty()) return;
  constexpr double kGood_px = 0.5;
  const auto parallax = std::max_element(
      result.seam.begin(), result.seam.end(),
      [](const auto& a, const auto& b) { return a.parallax_after_px < b.parallax_after_px; });
  const auto sideways = std::max_element(
      result.seam.begin(), result.seam.end(),
      [](const auto& a, const auto& b) { return a.sideways_after_px < b.sideways_after_px; });
  if (sideways->sideways_after_px > kGood_px) {
    result.advice.push_back(fmt::format(
        "sideways, the seam is known to {:.1f} px (1 sigma) at {}: another tie there would help",
        sideways->sideways_after_px,
        azimuth_in_words(rig, sideways->lens_a, sideways->lens_b, sideways->psi_rad)));
  }
  if (parallax->parallax_after_px > kGood_px) {
    const bool any_far = std::any_of(ties.begin(), ties.end(),
                                     [](const Tie& tie) { return tie.range == TieRange::far; });
    result.advice.push_back(
        fmt::format("in parallax, the seam is known to {:.1f} px (1 sigma) at {}: {} tie beyond 10 "
                    "m there, marked "
                    "far, would help",
                    parallax->parallax_after_px,
                    azimuth_in_words(rig, parallax->lens_a, parallax->lens_b, parallax->psi_rad),
                    any_far ? "another" : "a"));
  }
}

}  // namespace

void say_findings(const Rig& rig, std::span<const Tie> ties, const TouchOptions& options,
                  TouchResult& result) {
  name_suspects(rig, ties, result);
  if (result.ties_disagree) {
    result.findings.emplace_back(
        "the two ties contradict each other, and nothing tells which is wrong: both were used; "
        "check them, or add a third");
  }
  if (result.contradicts_template) {
    result.findings.push_back(fmt::format(
        "the touch contradicts the template: it moves the rig by {:.1f} sigmas (limit {:.0f}), "
        "most "
        "of all {} by {:.1f}; the body was knocked, a tie is wrong, the frames are swapped or the "
        "template is another body's",
        result.moved_sigmas, options.contradiction_sigmas, result.worst_term,
        result.worst_term_sigmas));
  }
  advise(rig, ties, result);
}

}  // namespace seamwright
