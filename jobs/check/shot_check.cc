#include "jobs/check/shot_check.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "compose/finish/level.h"
#include "compose/render/seam_plan.h"
#include "jobs/shot/shot_fit.h"
#include "jobs/shot/stitch_findings.h"
#include "templates/frame_scale.h"

namespace seamwright {

namespace {

// Beyond this a body has hardly flexed: it is another one, or was dropped.
constexpr double kOtherBody_px = 6;

// For people who set up a stand once more, in a hurry (docs/shooting.md).
constexpr std::string_view kShootAgain = "shoot again (legs out of walkways, people asked first)";

// How a place is called where the panorama is looked at.
std::string where(const PanoramaPlace& place) {
  return fmt::format("longitude {:.0f}, latitude {:.0f}", deg_from_rad(place.longitude_rad),
                     deg_from_rad(place.latitude_rad));
}

class Checker {
 public:
  Checker(const RigTemplate& body, std::span<const Frame> frames, const ShotCheckOptions& options,
          const ProgressFn& progress)
      : body_(body), frames_(frames), options_(options), progress_(progress) {
    const Image& first = frames.front().image;
    rig_ = body.rig().scaled_to(first.width(), first.height());
  }

  Result<ShotCheck> run(const std::string& name) {
    check_.found.name = name;
    if (!tell(progress_, "matching", 0)) return fail(stopped_while("checking"));
    auto ring = check_ring(body_, frames_);
    if (!ring) return tl::unexpected(ring.error());
    check_.ring = std::move(*ring);
    if (auto done = look_at_mounting(); !done) return tl::unexpected(done.error());
    if (!tell(progress_, "comparing light", 0)) return fail(stopped_while("checking"));
    auto light = check_light(rig_, frames_, check_.ring.ties);
    if (!light) return tl::unexpected(light.error());
    check_.light = std::move(*light);
    look_at_light();
    if (options_.level && check_.ring.readable) {
      if (!tell(progress_, "levelling", 0)) return fail(stopped_while("checking"));
      if (auto done = look_at_level(); !done) return tl::unexpected(done.error());
    }
    if (options_.seams && check_.ring.readable) {
      if (auto done = look_at_seams(); !done) return tl::unexpected(done.error());
    }
    rank(check_.found.findings);
    return std::move(check_);
  }

 private:
  void add(Finding finding) { check_.found.findings.push_back(std::move(finding)); }

  // Causes come from the quick test that stitching makes as well.
  Result<void> look_at_mounting() {
    const auto fit = fit_shot(body_, frames_);
    if (!fit) return tl::unexpected(fit.error());
    if (fit->verdict == FitVerdict::refused) {
      say_refused(*fit);
      return {};
    }
    if (!fit->other_serial.empty()) say_other_serial(*fit);
    const RingCheck& ring = check_.ring;
    if (!ring.readable) {
      say_unreadable();
      return {};
    }
    const RingPlace* worst = ring.worst();
    const bool seen =
        ring.p95_px > options_.visible_px && ring.p95_px > options_.sure_sigmas * ring.sigma_px;
    if (worst != nullptr && seen) say_misaligned(*worst);
    if (ring.unseen_share > options_.most_unseen) {
      add({.kind = FindingKind::unseen_ring,
           .size = ring.unseen_share,
           .bother_px = options_.rates.per_unseen_share * ring.unseen_share,
           .words = fmt::format("{:.0f} % of the ring shows nothing that tells whether it fits",
                                100 * ring.unseen_share),
           .remedy = "look along the seam yourself; plain walls hide a misfit as well as they hide "
                     "its proof"});
    }
    return {};
  }

  void say_refused(const ShotFit& fit) {
    const FindingKind kind = fit.cause == Misfit::mirrored     ? FindingKind::mirrored
                             : fit.cause == Misfit::other_body ? FindingKind::misaligned
                                                               : FindingKind::unreadable;
    add({.kind = kind,
         .size = static_cast<double>(fit.ties),
         .bother_px = options_.rates.useless,
         .words = fit.words,
         .remedy = fit.remedy});
  }

  void say_other_serial(const ShotFit& fit) {
    add({.kind = FindingKind::other_body,
         .size = 1,
         .bother_px = options_.rates.other_serial,
         .words = fit.other_serial,
         .remedy = std::string(kOtherSerialRemedy)});
  }

  void say_misaligned(const RingPlace& worst) {
    const RingCheck& ring = check_.ring;
    const PanoramaPlace place = place_of(worst.direction);
    add({.kind = FindingKind::misaligned,
         .size = ring.p95_px,
         .bother_px = ring.p95_px,
         .place = place,
         .words = fmt::format(
             "the lenses sit {:.1f} px from where the template has them (P95 of the ring, sure to "
             "{:.1f}); worst at {}: {:+.1f} px in parallax, {:+.1f} px sideways",
             ring.p95_px, ring.sigma_px, where(place), worst.parallax_px, worst.sideways_px),
         .remedy = fmt::format(
             "'touch' it, with ties found or with two set near {}, one of them far away; "
             "{}",
             where(place),
             ring.p95_px > kOtherBody_px
                 ? "is this the template of this body?"
                 : "if other shots of the day say the same, learn it again")});
  }

  void say_unreadable() {
    const RingCheck& ring = check_.ring;
    const bool dark = ring.matched < TieSet::kFewest;
    add({.kind = FindingKind::unreadable,
         .size = static_cast<double>(ring.ties.ties.size()),
         .bother_px = options_.rates.useless,
         .words = dark ? fmt::format("only {} places are recognised in two lenses", ring.matched)
                       : fmt::format("the frames do not fit together: {} of {} matches agree",
                                     ring.consistent, ring.matched),
         .remedy = "check that these frames are of one shot, in the template's order, of this body "
                   "and not black; stitch by hand-set ties, or " +
                   std::string(kShootAgain)});
  }

  void look_at_light() {
    const LightCheck& light = check_.light;
    for (std::size_t i = 0; i < light.clipped_share.size(); ++i) {
      const double over = light.clipped_share[i] - options_.most_clipped;
      if (over <= 0) continue;
      add({.kind = FindingKind::clipped,
           .size = light.clipped_share[i],
           .bother_px = options_.rates.per_clipped_share * over,
           .words = fmt::format("{:.0f} % of lens {}'s frame is clipped white",
                                100 * light.clipped_share[i], i),
           .remedy =
               "merge a shorter exposure in, or, with less light, " + std::string(kShootAgain)});
    }
    const auto worst = std::max_element(
        light.steps.begin(), light.steps.end(),
        [](const ColourStep& a, const ColourStep& b) { return a.delta_e < b.delta_e; });
    if (worst != light.steps.end() && worst->delta_e > options_.visible_delta_e) {
      const PanoramaPlace place = place_of(worst->direction);
      add({.kind = FindingKind::colour_step,
           .size = worst->delta_e,
           .bother_px = options_.rates.per_delta_e * worst->delta_e,
           .place = place,
           .words = fmt::format("light and colour step by {:.1f} CIEDE2000 at {} after gains",
                                worst->delta_e, where(place)),
           .remedy =
               "look for flare or a lamp in one lens only; the seam's blend hides some of it"});
    }
    for (const PairBlur& pair : light.blur) {
      if (std::abs(pair.octaves) <= options_.visible_blur) continue;
      const int lens = pair.octaves > 0 ? pair.lens_b : pair.lens_a;
      add({.kind = FindingKind::blurred,
           .size = std::abs(pair.octaves),
           .bother_px = options_.rates.per_octave_of_blur * std::abs(pair.octaves),
           .words = fmt::format("lens {} is less sharp than its neighbour by {:.1f} octaves", lens,
                                std::abs(pair.octaves)),
           .remedy = "wipe that lens, check that nothing moved while it exposed, " +
                     std::string(kShootAgain)});
    }
  }

  Result<void> look_at_level() {
    if (!options_.marked.empty()) {
      const auto marked = vertical_from_marked(options_.marked);
      if (!marked) return tl::unexpected(marked.error());
      check_.tilt_deg = marked->tilt_deg();
      return {};
    }
    const auto vertical = find_vertical(rig_, frames_);
    if (!vertical) return {};  // nothing upright here: not a fault of the shot
    check_.tilt_deg = vertical->tilt_deg();
    const double over = *check_.tilt_deg - options_.most_tilt_deg;
    if (over <= 0) return {};
    add({.kind = FindingKind::tilted,
         .size = *check_.tilt_deg,
         .bother_px = options_.rates.per_degree_of_tilt * over,
         .words = fmt::format("the stand leaned by {:.1f} degrees", *check_.tilt_deg),
         .remedy = "set 'level', or mark an upright edge in the 'workbench'"});
    return {};
  }

  Result<void> look_at_seams() {
    SeamOptions options = options_.seam;
    options.keep_views = true;
    const auto plan = plan_seams(rig_, frames_, options, progress_);
    if (!plan) return tl::unexpected(plan.error());
    say_cut_subjects(*plan);
    say_torn(*plan);
    auto seams = check_seams(rig_, *plan);
    if (!seams) return tl::unexpected(seams.error());
    check_.seams = std::move(*seams);
    say_misfits();
    return {};
  }

  void say_cut_subjects(const SeamPlan& plan) {
    for (const PairSeam& pair : plan.pairs) {
      for (const MovingSubject& subject : pair.path.subjects) {
        if (subject.taken != TakenFrom::both) continue;
        const Vec2 middle(0.5 * (subject.left + subject.right),
                          0.5 * (subject.top + subject.bottom));
        const Vec3 direction = pair.warp.grid.direction(middle);
        if (shows_stand(direction)) continue;
        const PanoramaPlace place = place_of(direction);
        const CutWords cut = cut_words(place, pair.lens_a, pair.lens_b);
        add({.kind = FindingKind::cut_subject,
             .size = 1,
             .bother_px = options_.rates.per_cut_subject,
             .place = place,
             .words = cut.words,
             .remedy = cut.remedy});
      }
    }
  }

  void say_torn(const SeamPlan& plan) {
    for (const Vec3& direction : torn_directions(plan)) {
      if (shows_stand(direction)) continue;
      const PanoramaPlace place = place_of(direction);
      add({.kind = FindingKind::torn,
           .size = 1,
           .bother_px = options_.rates.per_torn_place,
           .place = place,
           .words = fmt::format("the joined picture is torn at {}", where(place)),
           .remedy = std::string(kTornRemedy)});
    }
  }

  // Places on the seam that show, without the stand's own below.
  void say_misfits() {
    const SeamPlace* farthest = nullptr;
    const SeamPlace* unlike = nullptr;
    int missed = 0, different = 0, all = 0;
    for (const SeamPlace& place : check_.seams->places) {
      if (!tells(place)) continue;
      ++all;
      if (place.likeness < kAlike) {
        ++different;
        if (unlike == nullptr || place.likeness < unlike->likeness) unlike = &place;
      } else if (place.shows_px > options_.visible_px) {
        ++missed;
        if (farthest == nullptr || place.shows_px > farthest->shows_px) farthest = &place;
      }
    }
    if (farthest != nullptr) say_missed(*farthest, missed, all);
    if (unlike != nullptr) say_unlike(*unlike, different, all);
  }

  void say_missed(const SeamPlace& worst, int count, int all) {
    const PanoramaPlace place = place_of(worst.direction);
    add({.kind = FindingKind::seam_misfit,
         .size = worst.shows_px,
         .bother_px = worst.shows_px,
         .place = place,
         .words = fmt::format(
             "joined by depth, the pictures still miss each other by {:.1f} px at {} ({} of {} "
             "places on the seam that show)",
             worst.shows_px, where(place), count, all),
         .remedy = "'touch' it with two ties beside it; or lead the seam round it by a "
                   "stroke in the shot file"});
  }

  void say_unlike(const SeamPlace& worst, int count, int all) {
    const PanoramaPlace place = place_of(worst.direction);
    add({.kind = FindingKind::seam_misfit,
         .size = static_cast<double>(count),
         .bother_px = options_.rates.per_unlike_place,
         .place = place,
         .words = fmt::format("the lenses do not show the same on the seam at {} ({} of {} places "
                              "on the seam that show)",
                              where(place), count, all),
         .remedy = "look at it; lead the seam round it, or say which lens to take, by a stroke in "
                   "the shot file"});
  }

  const RigTemplate& body_;
  std::span<const Frame> frames_;
  const ShotCheckOptions& options_;
  const ProgressFn& progress_;
  Rig rig_;
  ShotCheck check_;
};

}  // namespace

std::optional<Error> ShotCheckOptions::validate() const {
  const auto bad = [](const char* field, double value) {
    return Error{.kind = ErrorKind::user_input,
                 .where = "check",
                 .field = field,
                 .what = fmt::format("{} is not above 0", value),
                 .remedy = "give a number above 0"};
  };
  if (!(visible_px > 0)) return bad("visible_px", visible_px);
  if (!(sure_sigmas > 0)) return bad("sure_sigmas", sure_sigmas);
  if (!(visible_delta_e > 0)) return bad("visible_delta_e", visible_delta_e);
  if (!(visible_blur > 0)) return bad("visible_blur", visible_blur);
  if (!(most_tilt_deg > 0)) return bad("most_tilt_deg", most_tilt_deg);
  return std::nullopt;
}

Result<ShotCheck> check_shot(const std::string& name, const RigTemplate& body,
                             std::span<const Frame> frames, const ShotCheckOptions& options,
                             const ProgressFn& progress) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (static_cast<int>(frames.size()) != body.rig().lens_count()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = name,
                 .field = "frames",
                 .what = fmt::format("{} of them, the template has {} lenses", frames.size(),
                                     body.rig().lens_count()),
                 .remedy = "give one frame per lens, and the template of this body"});
  }
  for (const Frame& frame : frames) {
    if (auto scale = template_scale(body.rig(), frame.image, frame.info.file); !scale) {
      return tl::unexpected(scale.error());
    }
  }
  return Checker(body, frames, options, progress).run(name);
}

}  // namespace seamwright
