#include "jobs/shot/shot_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "features/small_frames.h"
#include "jobs/shot/body_files.h"
#include "jobs/shot/fit_trials.h"

namespace seamwright {

namespace {

constexpr std::array<std::string_view, 5> kVerdictNames = {"fits", "knocked", "off", "unsure",
                                                           "refused"};
static_assert(static_cast<int>(FitVerdict::refused) == kVerdictNames.size() - 1);
constexpr std::array<std::string_view, 7> kMisfitNames = {
    "none", "two_shots", "swapped", "mirrored", "turned", "upside_down", "other_body"};
static_assert(static_cast<int>(Misfit::other_body) == kMisfitNames.size() - 1);

constexpr int kTiesPerPair = 100;
constexpr std::size_t kFewestTies = 24;  // that say for certain how the lenses sit
constexpr double kClearlyNearer = 0.3;   // of the misalignment as given
constexpr double kClearlyMore = 1.3;     // matches that agree than as given
// Of the demo's 16 stands as they are 0.91 to 0.97 of the matches agree and the touch leaves 0.02
// to 0.07 px of small frames, of a real interior by four lenses 0.4 and 0.6 px; swapped, mirrored
// and turned ones leave 1 px and more.
constexpr double kGoodShare = 0.5;  // of matches that agree, where frames belong together
constexpr double kMostLeft_px = 0.75;
constexpr double kSureLeft_px = 0.3;  // of a touch that nobody looks at
constexpr double kWellAgreed = 0.8;   // of matches: then the frames are of one shot and body
constexpr double kGoodUse = 0.8;      // of the ties
constexpr double kMostUnseen = 0.6;   // of the ring's sectors
constexpr int kTellingKeys = 150;     // in either strip: enough for frames of one shot to agree

/// … and how the template met it.
struct Tried {
  Trial trial;
  RingCheck ring;
};

std::string numbers(const std::vector<int>& values) {
  std::string text;
  for (const int value : values) text += fmt::format("{}{}", text.empty() ? "" : " ", value);
  return text;
}

double share_agreed(const RingCheck& ring) {
  return ring.matched > 0 ? static_cast<double>(ring.consistent) / ring.matched : 0;
}

int fewest_keys(const RingCheck& ring) {
  int most = 0;
  for (const PairTieReport& pair : ring.ties.report.pairs) {
    most = std::max(most, std::min(pair.detected[0], pair.detected[1]));
  }
  return most;
}

int lenses_of(const RingCheck& ring) {
  int lenses = 0;
  for (const PairTieReport& pair : ring.ties.report.pairs) {
    lenses = std::max({lenses, pair.lens_a + 1, pair.lens_b + 1});
  }
  return lenses;
}

// A lens that shows much where it overlaps others, and little of what they show; empty without one.
// Of many lenses the others' ties would outvote it.
std::optional<int> lens_apart(const RingCheck& ring, int lenses) {
  for (int lens = 0; lens < lenses; ++lens) {
    int keys = 0, ties = 0;
    for (const PairTieReport& pair : ring.ties.report.pairs) {
      if (pair.lens_a != lens && pair.lens_b != lens) continue;
      keys = std::max(keys, std::min(pair.detected[0], pair.detected[1]));
      ties = std::max(ties, pair.kept);
    }
    if (keys >= kTellingKeys && ties < TieSet::kFewest) return lens;
  }
  return std::nullopt;
}

// How far the matches would turn a lens, and how far another focal length would shift them at the
// rim: of the pair that says most.
double turned_deg(const TieReport& report) {
  double most = 0;
  for (const PairTieReport& pair : report.pairs) {
    const double turn = rotation_vector_from_quat(pair.consensus.correction).norm();
    const double shift = std::abs(std::log(pair.consensus.focal_scale)) * kPi / 2;
    most = std::max({most, turn, shift});
  }
  return deg_from_rad(most);
}

class Fitter {
 public:
  Fitter(const RigTemplate& body, std::span<const Frame> frames, const FitOptions& options)
      : body_(body), options_(options) {
    for (const Frame& frame : frames) {
      small_.push_back(small_match_plane(frame.image, options.small_px));
    }
    enlarged_ = small_[0].width() > frames[0].image.width();
    fit_.other_serial = other_serials(body.files, frames);
    fit_.taken_at = frames[0].info.taken_at.value_or("");
    to_frame_px_ = static_cast<double>(frames[0].image.width()) / small_[0].width();
  }

  Result<ShotFit> run() {
    auto ring = check_ring(body_, small_, quick());
    if (!ring) return tl::unexpected(ring.error());
    given_ = std::move(*ring);
    measure();
    const bool good = well_explained(given_);
    if (good && !off()) return verdict(FitVerdict::fits);
    if (enlarged_) return agrees(given_) && !off() ? fits_where_it_tells() : too_small();
    auto tried = best_trial(good);
    if (!tried) return tl::unexpected(tried.error());
    if (*tried) return refuse((*tried)->trial);
    if (good && is_knock()) return knocked();
    if (good && fit_.knock_deg > options_.most_knock_deg) return hard_knock();
    if (good) return misaligned();
    if (agrees(given_) && !off()) return fits_where_it_tells();
    if (agrees(given_) && share_agreed(given_) >= kWellAgreed) return misaligned();
    return unexplained();
  }

 private:
  static TieOptions quick() {
    TieOptions options = TieOptions::of_knocked_body();
    options.max_ties_per_pair = kTiesPerPair;
    options.edge_ties = false;
    return options;
  }

  static TieOptions far_away() {
    TieOptions options = TieOptions::cold_start();
    options.max_ties_per_pair = kTiesPerPair;
    return options;
  }

  void measure() {
    fit_.matched = given_.matched;
    fit_.agreed = given_.consistent;
    fit_.ties = static_cast<int>(given_.ties.ties.size());
    fit_.keys = fewest_keys(given_);
    fit_.unseen_share = given_.unseen_share;
    if (!given_.touched) return;
    fit_.expected_px = given_.expected_px * to_frame_px_;
    fit_.used_share = given_.used_share;
    fit_.p95_px = given_.p95_px * to_frame_px_;
    fit_.sigma_px = given_.sigma_px * to_frame_px_;
    fit_.left_px = given_.left_px * to_frame_px_;
    const Rig& before = body_.rig();
    const Rig& after = given_.touched->rig;
    for (std::size_t i = 0; i < before.lenses.size(); ++i) {
      const Quat turn = after.lenses[i].rig_from_lens * before.lenses[i].rig_from_lens.conjugate();
      fit_.turns.push_back(rotation_vector_from_quat(turn));
      fit_.knock_deg = std::max(fit_.knock_deg, deg_from_rad(fit_.turns.back().norm()));
    }
  }

  [[nodiscard]] bool off() const {
    return fit_.p95_px > options_.visible_px && fit_.p95_px > 2.5 * fit_.sigma_px;
  }
  // One rig near the template explains what was matched, whatever it has moved …
  [[nodiscard]] static bool agrees(const RingCheck& ring) {
    return ring.readable && share_agreed(ring) >= kGoodShare && ring.left_px <= kMostLeft_px &&
           ring.used_share >= kGoodUse && !lens_apart(ring, lenses_of(ring));
  }
  // … all around the ring.
  [[nodiscard]] static bool well_explained(const RingCheck& ring) {
    return agrees(ring) && ring.ties.ties.size() >= kFewestTies && ring.unseen_share <= kMostUnseen;
  }
  [[nodiscard]] bool is_knock() const {
    return fit_.p95_px > options_.sure_sigmas * fit_.sigma_px &&
           fit_.p95_px > options_.beyond_body * fit_.expected_px &&
           fit_.knock_deg <= options_.most_knock_deg && given_.left_px <= kSureLeft_px;
  }

  ShotFit verdict(FitVerdict verdict) {
    fit_.verdict = verdict;
    if (verdict == FitVerdict::fits) fit_.turns.clear();
    return std::move(fit_);
  }

  // That of the trials which fits, where as given nothing does; empty without one. `ring_kept`: as
  // given the lenses' pictures meet all around, so only what keeps the ring is tried.
  Result<std::optional<Tried>> best_trial(bool ring_kept) {
    std::optional<Tried> best;
    const bool square = small_[0].width() == small_[0].height();
    for (Trial& trial : trials_for(body_.rig().lens_count(), square)) {
      if (agrees(given_) && !keeps_ring(trial, body_.rig().lens_count())) continue;
      auto ring = check_ring(body_, arranged(small_, trial), quick());
      if (!ring) return tl::unexpected(ring.error());
      if (!well_explained(*ring)) continue;
      const double px = ring->p95_px * to_frame_px_;
      // What is swapped or turned may have been knocked as well. Two lenses that are mirrored tell
      // so by nothing but the body's small terms, which a knock would hide.
      const bool by_small_terms = body_.rig().lens_count() == 2 && trial.cause == Misfit::mirrored;
      const bool one_fault = by_small_terms || agrees(given_);
      const double most_px = one_fault ? options_.visible_px : 4 * options_.visible_px;
      if (px > most_px || (ring_kept && px > kClearlyNearer * fit_.p95_px)) continue;
      if (agrees(given_) && !off() && ring->consistent < kClearlyMore * given_.consistent) continue;
      if (!best || merit(*ring) > merit(best->ring)) {
        best = Tried{.trial = std::move(trial), .ring = std::move(*ring)};
      }
      if (px < kClearlyNearer * options_.visible_px) break;  // nothing else fits as well
    }
    return best;
  }

  [[nodiscard]] double merit(const RingCheck& ring) const {
    return ring.consistent / (1 + ring.p95_px * to_frame_px_);
  }

  ShotFit refuse(const Trial& trial) {
    fit_.cause = trial.cause;
    switch (trial.cause) {
      case Misfit::mirrored:
        fit_.words = "the frames are mirrored: flipped, they fit the template";
        fit_.remedy = "give 'mirrored'";
        break;
      case Misfit::swapped:
        fit_.words = body_.rig().lens_count() == 2
                         ? std::string("the lenses are swapped: the other way round they fit")
                         : fmt::format("the lenses are in another order: as {} they fit",
                                       numbers(trial.order));
        fit_.remedy = "name the frames in the template's order";
        break;
      case Misfit::upside_down:
        fit_.words = "the frames stand on their heads: turned by 180 degrees, they fit";
        fit_.remedy = fmt::format("give 'turns' {}", numbers(trial.turns));
        break;
      default:
        fit_.words = "frames are turned: set upright by quarter turns, they fit";
        fit_.remedy = fmt::format("give 'turns' {}", numbers(trial.turns));
        break;
    }
    return verdict(FitVerdict::refused);
  }

  Result<ShotFit> unexplained() {
    const auto far = check_ring(body_, small_, far_away());
    if (!far) return tl::unexpected(far.error());
    const double turned = turned_deg(far->ties.report);
    if (far->ties.ties.size() >= kFewestTies && share_agreed(*far) >= kGoodShare &&
        !lens_apart(*far, lenses_of(*far)) && far->unseen_share <= kMostUnseen &&
        turned > options_.most_knock_deg) {
      return other_body(turned);
    }
    if (fit_.keys < kTellingKeys) return too_few();
    const auto apart = lens_apart(given_, lenses_of(given_));
    if (fit_.ties >= TieSet::kFewest && !apart) return badly();
    fit_.cause = Misfit::two_shots;
    fit_.words = body_.rig().lens_count() > 2 && apart && given_.readable
                     ? fmt::format(
                           "the frames are not of one shot: that of lens {} shows nothing that the "
                           "others show",
                           *apart)
                     : fmt::format(
                           "the frames are not of one shot: of {} places that stand out in each "
                           "lens' overlap {} are the same",
                           fit_.keys, fit_.ties);
    fit_.remedy = "give the frames that were taken together";
    return verdict(FitVerdict::refused);
  }

  // Much of the ring shows nothing.
  ShotFit fits_where_it_tells() {
    return fit_.ties >= TieSet::kFewest ? verdict(FitVerdict::fits) : too_few();
  }

  ShotFit knocked() {
    const TouchResult& touched = *given_.touched;
    fit_.touch = ShotTouch{touched.names, {touched.step.begin(), touched.step.end()}};
    fit_.touched_rig = touched.rig;
    fit_.words = fmt::format(
        "the body was knocked: a lens turned by {:.2f} degrees, {:.1f} px at "
        "the seam (sure to {:.1f})",
        fit_.knock_deg, fit_.p95_px, fit_.sigma_px);
    fit_.remedy = "if other shots of the day say the same, learn the template again from them";
    return verdict(FitVerdict::knocked);
  }

  ShotFit too_few() {
    fit_.words = fmt::format(
        "only {} places are recognised in two lenses: too few to tell whether "
        "the shot fits the template",
        fit_.agreed);
    fit_.remedy = "look along the seam";
    return verdict(FitVerdict::unsure);
  }

  // A pixel of such frames is as wide as a knock.
  ShotFit too_small() {
    fit_.words = "the frames are too small to tell whether the shot fits the template";
    fit_.remedy = "give frames at their full size";
    return verdict(FitVerdict::unsure);
  }

  ShotFit other_body(double turned_deg) {
    fit_.cause = Misfit::other_body;
    fit_.words = fmt::format(
        "this is another body's template: the lenses agree with each other, "
        "but one sits {:.1f} degrees from where it has it",
        turned_deg);
    fit_.remedy = "give this body's template, or learn one from its own shots";
    return verdict(FitVerdict::refused);
  }

  // More than a knock that is mended unseen.
  ShotFit hard_knock() {
    fit_.cause = Misfit::other_body;
    fit_.words = fmt::format(
        "a lens sits {:.1f} degrees from where the template has it: this is "
        "another body's template, or the body was knocked hard",
        fit_.knock_deg);
    fit_.remedy = "give this body's template, learn it again, or 'touch' the shot";
    return verdict(FitVerdict::refused);
  }

  ShotFit misaligned() {
    if (fit_.knock_deg > options_.most_knock_deg) return other_body(fit_.knock_deg);
    fit_.words = fmt::format(
        "the lenses sit {:.1f} px from where the template has them (P95 of "
        "the ring, sure to {:.1f})",
        fit_.p95_px, fit_.sigma_px);
    fit_.remedy = "look along the seam; two ties set by hand make it sure";
    return verdict(FitVerdict::off);
  }

  ShotFit badly() {
    fit_.words = fmt::format("the template explains only {} of {} places that two lenses show",
                             fit_.agreed, fit_.matched);
    fit_.remedy = "look along the seam; did much move between the lenses' exposures?";
    return verdict(FitVerdict::off);
  }

  const RigTemplate& body_;
  const FitOptions& options_;
  std::vector<Image> small_;
  double to_frame_px_ = 1;
  bool enlarged_ = false;
  RingCheck given_;
  ShotFit fit_;
};

}  // namespace

std::string_view name_of(FitVerdict verdict) {
  return kVerdictNames[static_cast<std::size_t>(verdict)];
}
std::string_view name_of(Misfit cause) { return kMisfitNames[static_cast<std::size_t>(cause)]; }

Result<ShotFit> fit_shot(const RigTemplate& body, std::span<const Frame> frames,
                         const FitOptions& options) {
  auto fit = Fitter(body, frames, options).run();
  if (fit && fit->cause == Misfit::other_body && !fit->other_serial.empty()) {
    fit->words += "; " + fit->other_serial;
  }
  return fit;
}

Error refusal_of(const ShotFit& fit, const std::string& shot_name) {
  return {.kind = ErrorKind::user_input,
          .where = shot_name,
          .field = {},
          .what = fit.words,
          .remedy = fit.remedy + "; 'anyway' stitches it all the same"};
}

}  // namespace seamwright
