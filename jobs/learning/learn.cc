#include "jobs/learning/learn.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "features/mirror.h"
#include "imaging/orient.h"
#include "jobs/learning/cold_start.h"
#include "jobs/learning/suspect_shots.h"
#include "jobs/learning/template_prior.h"
#include "solver/behind_infinity.h"
#include "solver/seam_error.h"

namespace seamwright {

namespace {

Error in_shot(Error error, const std::string& shot) {
  error.where = error.where.empty() ? "shot " + shot : error.where;
  return error;
}

Error cancelled() { return {.kind = ErrorKind::cancelled, .what = "stopped"}; }

std::optional<Error> mismatch(const std::vector<Image>& frames, const std::vector<Image>& first,
                              const std::string& shot) {
  if (frames.size() != first.size()) {
    return Error{
        .where = "shot " + shot,
        .field = "frames",
        .what = fmt::format("{} frames, the first shot has {}", frames.size(), first.size()),
        .remedy = "give every shot one frame a lens"};
  }
  for (const Image& frame : frames) {
    if (frame.width() == first[0].width() && frame.height() == first[0].height()) continue;
    return Error{
        .where = "shot " + shot,
        .field = "frames",
        .what = fmt::format("a frame of {} x {} px, the first shot has {} x {}", frame.width(),
                            frame.height(), first[0].width(), first[0].height()),
        .remedy = "learn from frames of one size"};
  }
  return std::nullopt;
}

// RMS move of the seam at infinity between two rigs, over all overlapping pairs, px.
Result<double> seam_move_px(const Rig& before, const Rig& after) {
  std::vector<SeamSample> all;
  for (int a = 0; a < after.lens_count(); ++a) {
    for (int b = a + 1; b < after.lens_count(); ++b) {
      const auto samples = seam_misalignment(before, after, a, b);
      all.insert(all.end(), samples.begin(), samples.end());
    }
  }
  return summarise(all).map([](const SeamSummary& summary) { return summary.rms_px; });
}

class Learner {
 public:
  Learner(std::span<const LearnShot> shots, const LearnOptions& options, const ProgressFn& progress)
      : shots_(shots),
        options_(options),
        progress_(progress),
        tracks_(
            static_cast<int>(shots.size()),
            [this](int shot) { return load(shots_[static_cast<std::size_t>(shot)]); },
            options.tracks) {}

  Result<LearnOutcome> run() {
    if (auto error = start()) return fail(std::move(*error));
    int rounds = options_.rounds;
    for (int round = 0; round < rounds; ++round) {
      if (auto error = match(round)) return fail(std::move(*error));
      auto start = track(round);
      if (!start) return fail(std::move(start.error()));
      const auto lines =
          find_lines_of_shots(shots_used(), source(), rig_, round > 0, options_.lines, progress_);
      if (!lines) return fail(lines.error());
      LearnRigOptions solving = options_.solving;
      solving.lines = *lines;
      auto solved = learn_rig(rig_, prior_, outcome_.ties, std::move(*start), solving, progress_);
      if (!solved) return fail(std::move(solved.error()));
      const auto move_px = seam_move_px(rig_, solved->solution.rig);
      if (!move_px) return fail(move_px.error());
      outcome_.last_move_px = *move_px;
      rig_ = solved->solution.rig;
      end_fields();
      outcome_.solve = std::move(*solved);
      outcome_.rounds = round + 1;
      behind_infinity_ =
          share_behind_infinity(rig_, outcome_.ties, outcome_.solve.points, outcome_.solve.inlier);
      const auto excluded = exclude_suspects();
      if (!excluded) return fail(excluded.error());
      if (*excluded > 0) {
        rounds = std::min(std::max(rounds, round + 2), 2 * options_.rounds);
      } else if (outcome_.last_move_px < options_.settled_px) {
        break;
      }
    }
    if (auto error = check_place()) return fail(std::move(*error));
    if (auto error = colour()) return fail(std::move(*error));
    finish();
    return std::move(outcome_);
  }

 private:
  // A solve may end where everything fits and the lenses' angles are wrong: then much of what both
  // lenses see would have to stand behind infinity.
  [[nodiscard]] std::optional<Error> check_place() const {
    constexpr double kMost = 0.15;
    if (behind_infinity_ <= kMost) return std::nullopt;
    return Error{
        .kind = ErrorKind::numeric,
        .field = "shots",
        .what = fmt::format("the solve ended in a wrong place: {:.0f} % of the ties between lenses "
                            "would stand behind infinity",
                            100 * behind_infinity_),
        .remedy = "add or leave out a shot, or begin from a template of such a body"};
  }

  Result<std::vector<Image>> load(const LearnShot& shot) const {
    auto frames = shot.load();
    if (!frames) return fail(in_shot(frames.error(), shot.name));
    if (options_.mirrored != flipped_) {
      for (Image& frame : *frames) frame = mirror_left_right(frame);
    }
    return frames;
  }

  [[nodiscard]] FrameSource source() const {
    return [this](int shot) { return load(shots_[static_cast<std::size_t>(shot)]); };
  }

  // Shots that were not left out.
  [[nodiscard]] std::vector<int> shots_used() const {
    std::vector<int> used;
    for (std::size_t i = 0; i < shots_.size(); ++i) {
      if (outcome_.shots[i].left_out.empty()) used.push_back(static_cast<int>(i));
    }
    return used;
  }

  std::optional<Error> start() {
    if (shots_.empty()) {
      return Error{.field = "shots", .what = "none given", .remedy = "give at least one shot"};
    }
    const auto count =
        options_.from
            ? std::size_t{1}
            : std::min(shots_.size(), static_cast<std::size_t>(std::max(1, options_.cold_shots)));
    std::vector<std::vector<Image>> frames;
    for (std::size_t i = 0; i < count; ++i) {
      if (!tell(progress_, "reading", static_cast<double>(i) / static_cast<double>(count))) {
        return cancelled();
      }
      // Spread over the list: neighbours are often stands of one room.
      auto loaded = load(shots_[i * shots_.size() / count]);
      if (!loaded) return loaded.error();
      frames.push_back(std::move(*loaded));
      if (frames.back().empty()) {
        return Error{.where = "shot " + shots_[i].name, .field = "frames", .what = "none"};
      }
      if (auto error = mismatch(frames.back(), frames.front(), shots_[i].name)) return error;
    }
    if (!tell(progress_, "finding the lenses", 0)) return cancelled();
    const int lens_count = static_cast<int>(frames[0].size());
    const SharedTerms terms = all_rig_terms_and_travel(lens_count);
    if (options_.from) {
      if (options_.from->rig().lens_count() != lens_count) {
        return Error{.field = "from",
                     .what = fmt::format("the template has {} lenses, the shots have {} frames",
                                         options_.from->rig().lens_count(), lens_count),
                     .remedy = "use the template of this body"};
      }
      RigTemplate scaled = *options_.from;
      scaled.solution.rig = scaled.rig().scaled_to(frames[0][0].width(), frames[0][0].height());
      if (scaled.rig().lenses[0].lens.width_px != options_.from->rig().lenses[0].lens.width_px) {
        scaled.solution.covariance = {};  // its units were those of the other frame size
      }
      rig_ = scaled.rig();
      prior_ = prior_of_template(scaled, BodySpread{}, terms);
    } else {
      auto cold = cold_start(frames, options_);
      if (!cold) return cold.error();
      rig_ = cold->rig;
      outcome_.circles = cold->circles;
      prior_ = prior_of(BodySpread{}, rig_, terms);
    }
    recognise_mirrors(frames[0]);
    return std::nullopt;
  }

  // Tells mirrored frames where the rig can tell them, and turns them.
  void recognise_mirrors(const std::vector<Image>& frames) {
    if (!options_.from && rig_.lens_count() < 3) return;
    const auto report = recognise_mirroring(frames, rig_, options_.ties);
    if (!report || report->verdict != MirrorVerdict::mirrored) return;
    flipped_ = true;
    outcome_.notes.push_back(fmt::format(
        "the frames are mirrored against the starting geometry: {} ties fit flipped, {} as they "
        "are; they are flipped",
        report->flipped.ties, report->as_is.ties));
  }

  std::optional<Error> match(int round) {
    outcome_.ties.clear();
    outcome_.shots.assign(shots_.size(), {});
    excluded_.resize(shots_.size());
    std::vector<TieReport> reports;
    const TieOptions gates = gates_for(round);
    for (std::size_t i = 0; i < shots_.size(); ++i) {
      const double done = static_cast<double>(i) / static_cast<double>(shots_.size());
      if (!tell(progress_, fmt::format("matching, round {}", round + 1), done)) return cancelled();
      outcome_.shots[i].name = shots_[i].name;
      outcome_.shots[i].left_out = excluded_[i];
      if (!excluded_[i].empty()) continue;
      auto frames = load(shots_[i]);
      if (!frames) return frames.error();
      auto set = find_ties(*frames, rig_, static_cast<int>(i), gates);
      if (!set) return in_shot(set.error(), shots_[i].name);
      if (take(*set, outcome_.shots[i])) reports.push_back(std::move(set->report));
    }
    if (!reports.empty()) return crowded_ties(reports, options_.ties.cells_psi);
    return Error{.kind = ErrorKind::numeric,
                 .where = "shot " + shots_[0].name,
                 .field = "ties",
                 .what = "no shot has enough matches between its lenses",
                 .remedy = "check for a lens cap and that the frames belong together"};
  }

  // A match may lie as far off as the last solve says that its rig may be wrong.
  TieOptions gates_for(int round) const {
    TieOptions gates = options_.ties;
    if (round == 0) return gates;
    constexpr double kSigmas = 3;
    constexpr double kWidest_rad = rad_from_deg(3);
    const SolutionQuality& quality = outcome_.solve.solution.quality;
    const double per_px = kSigmas / rig_.peak_px_per_rad();
    gates.parallax_slack_rad = std::clamp(per_px * quality.expected_seam_parallax_px,
                                          gates.parallax_slack_rad, kWidest_rad);
    gates.sideways_gate_rad = std::clamp(per_px * quality.expected_seam_sideways_px,
                                         gates.sideways_gate_rad, kWidest_rad);
    return gates;
  }

  bool take(const TieSet& set, ShotOutcome& shot) {
    shot.ties = static_cast<int>(set.ties.size());
    for (const PairTieReport& pair : set.report.pairs) {
      shot.empty_sectors_deg.insert(shot.empty_sectors_deg.end(), pair.empty_sectors_deg.begin(),
                                    pair.empty_sectors_deg.end());
    }
    if (shot.ties < options_.minimum_ties_per_shot) {
      shot.left_out = fmt::format(
          "only {} ties, {} are needed; check for a lens cap, blur or "
          "frames of different shots",
          shot.ties, options_.minimum_ties_per_shot);
      return false;
    }
    outcome_.ties.insert(outcome_.ties.end(), set.ties.begin(), set.ties.end());
    return true;
  }

  // Adds the tracks between shots that take part; returns where those stood.
  Result<std::vector<ShotState>> track(int round) {
    std::vector<char> used;
    for (const ShotOutcome& shot : outcome_.shots) {
      used.push_back(static_cast<char>(shot.left_out.empty()));
    }
    const std::vector<ShotState> none;
    auto found = tracks_.round(rig_, used, round > 0 ? outcome_.solve.shots : none, progress_);
    if (!found) return fail(std::move(found.error()));
    for (Tie& tie : found->tracks) {
      ++outcome_.shots[static_cast<std::size_t>(tie.shot)].tracks;
      outcome_.ties.push_back(std::move(tie));
    }
    outcome_.links = std::move(found->links);
    return std::move(found->start);
  }

  // Shots that do not fit the others leave, with the reason; returns how many.
  Result<int> exclude_suspects() {
    const std::vector<int> suspects =
        suspect_shots(outcome_.solve, outcome_.ties, static_cast<int>(shots_.size()));
    for (const int shot : suspects) {
      const auto s = static_cast<std::size_t>(shot);
      auto frames = load(shots_[s]);
      if (!frames) return fail(std::move(frames.error()));
      auto reason = reason_of_misfit(*frames, rig_, outcome_.shots[s].ties, options_.ties);
      if (!reason) return fail(in_shot(reason.error(), shots_[s].name));
      excluded_[s] = std::move(*reason);
    }
    return static_cast<int>(suspects.size());
  }

  void end_fields() {
    for (std::size_t i = 0; i < outcome_.circles.size(); ++i) {
      if (!outcome_.circles[i]) continue;
      Lens& lens = rig_.lenses[i].lens;
      lens = with_field_to_rim(lens, outcome_.circles[i]->radius_px);
    }
  }

  std::optional<Error> colour() {
    std::vector<Tie> trusted;
    for (std::size_t i = 0; i < outcome_.ties.size(); ++i) {
      if (outcome_.solve.inlier[i] != 0) trusted.push_back(outcome_.ties[i]);
    }
    auto learned = learn_colour(rig_, shots_used(), trusted, source(), options_.colour, progress_);
    if (!learned) return learned.error();
    outcome_.colour = std::move(*learned);
    return std::nullopt;
  }

  void finish() {
    for (std::size_t i = 0; i < outcome_.ties.size(); ++i) {
      ShotOutcome& shot = outcome_.shots[static_cast<std::size_t>(outcome_.ties[i].shot)];
      if (outcome_.solve.inlier[i] == 0) continue;
      ++shot.inliers;
      shot.rms_px += squared_residual(i);
    }
    for (std::size_t i = 0; i < outcome_.shots.size(); ++i) {
      ShotOutcome& shot = outcome_.shots[i];
      if (shot.inliers > 0) shot.rms_px = std::sqrt(shot.rms_px / shot.inliers);
      for (const Vec3& flex : outcome_.solve.shots[i].flex) {
        shot.flex_deg = std::max(shot.flex_deg, deg_from_rad(flex.norm()));
      }
    }
    std::vector<std::string> names;
    for (const LearnShot& shot : shots_) names.push_back(shot.name);
    outcome_.stands = stands_of(outcome_.solve, names);
    RigTemplate& result = outcome_.rig_template;
    result.body = options_.body;
    const bool from_mirrored = options_.from && options_.from->mirrored;
    result.mirrored = (options_.mirrored || from_mirrored) != flipped_;
    result.solution = outcome_.solve.solution;
    result.solution.rig = rig_;
    result.solution.quality.shots = static_cast<int>(
        std::count_if(outcome_.shots.begin(), outcome_.shots.end(),
                      [](const ShotOutcome& shot) { return shot.left_out.empty(); }));
    for (std::size_t i = 0; i < shots_.size(); ++i) {
      if (!outcome_.shots[i].left_out.empty()) continue;
      result.learned_from.insert(result.learned_from.end(), shots_[i].sources.begin(),
                                 shots_[i].sources.end());
    }
  }

  // Mean over coordinates.
  double squared_residual(std::size_t tie) const {
    const Tie& seen = outcome_.ties[tie];
    double sum = 0;
    for (std::size_t j = 0; j < seen.sights.size(); ++j) {
      const auto residual = sight_residual_px(outcome_.solve.solution.rig, seen, j,
                                              outcome_.solve.points[tie], outcome_.solve.shots);
      if (residual) sum += residual->squaredNorm();
    }
    return sum / (2.0 * static_cast<double>(seen.sights.size()));
  }

  std::span<const LearnShot> shots_;
  const LearnOptions& options_;
  const ProgressFn& progress_;
  TrackPass tracks_;
  Rig rig_;
  SharedPrior prior_;
  bool flipped_ = false;
  double behind_infinity_ = 0;         // share_behind_infinity() of the last solve
  std::vector<std::string> excluded_;  // why a shot was judged not to belong, one a shot
  LearnOutcome outcome_;
};

}  // namespace

Result<LearnOutcome> learn_template(std::span<const LearnShot> shots, const LearnOptions& options,
                                    const ProgressFn& progress) {
  return Learner(shots, options, progress).run();
}

}  // namespace seamwright
