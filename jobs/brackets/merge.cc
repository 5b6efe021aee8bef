#include "jobs/brackets/merge.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include <fmt/format.h>

#include "base/user_error.h"
#include "imaging/icc.h"
#include "jobs/brackets/exposed.h"
#include "jobs/brackets/exposure.h"
#include "jobs/brackets/exposure_ratio.h"
#include "jobs/brackets/light.h"
#include "jobs/brackets/merge_rows.h"
#include "jobs/brackets/moved_regions.h"
#include "jobs/brackets/noise_fit.h"
#include "jobs/brackets/usable.h"

namespace seamwright {
namespace {

// A window of 20° by 20° is 1 % of a fisheye's frame (equidistant, 190° across), and should not be
// white in the shortest exposure. Lamps are smaller, and may be (common practice).
constexpr double kMostClippedOfLamps = 0.01;
constexpr double kLeastClippedToTell = 0.001;

std::string clipped_in_words(double share) {
  return fmt::format("{:.2f} % of the picture is clipped even in the shortest exposure",
                     100 * share);
}

constexpr double kSameStep = 1.05;  // exposures within 0.07 EV are one step

std::optional<Error> check_frames(const std::vector<Frame>& frames,
                                  const std::vector<double>& exposures) {
  if (frames.size() < 2 || exposures.size() != frames.size()) {
    return user_error(frames.empty() ? std::string() : frames.front().info.file, "brackets",
                      fmt::format("{} frames with {} exposures", frames.size(), exposures.size()),
                      "give two frames or more of one lens, with an exposure each");
  }
  const Image& first = frames.front().image;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const Image& image = frames[i].image;
    const std::string& file = frames[i].info.file;
    if (has_alpha(image.channels())) {
      return user_error(file, "channels", "the frame has alpha", "drop the alpha channel");
    }
    if (image.width() != first.width() || image.height() != first.height() ||
        image.channels() != first.channels() || image.type() != first.type()) {
      return user_error(
          file, "size",
          fmt::format("{} x {} px of another size or kind than the {} x {} px of {}", image.width(),
                      image.height(), first.width(), first.height(), frames.front().info.file),
          "merge frames of one body and one setting only");
    }
    if (image.icc_profile != first.icc_profile || image.transfer != first.transfer) {
      return user_error(file, "ICC profile",
                        "another colour profile than " + frames.front().info.file,
                        "develop all frames of a shot alike");
    }
    if (!(exposures[i] > 0) || !std::isfinite(exposures[i])) {
      return user_error(file, "exposure", fmt::format("{} is not an exposure", exposures[i]),
                        "give a positive, finite number");
    }
  }
  return std::nullopt;
}

/// The frames on their way, with the report that grows along.
class Merge {
 public:
  Merge(const MergeOptions& options, const ProgressFn& progress)
      : options_(options), progress_(progress) {}

  Result<MergedFrame> run(std::vector<Frame>& frames, const std::vector<double>& exposures) {
    if (auto ok = take(frames, exposures); !ok) return tl::unexpected(ok.error());
    if (auto ok = check_clipping(); !ok) return tl::unexpected(ok.error());
    if (options_.noise) {
      report_.noise = *options_.noise;
      report_.noise_source = NoiseSource::given;
    } else {
      report_.noise = noise_of_frame(exposed_[reference()], options_.clip_level);
    }
    if (options_.align && !align()) return fail(stopped());
    measure_noise();
    if (options_.refine_exposures) {
      if (!tell(progress_, "measuring exposures", 0)) return fail(stopped());
      refine_exposures();
      measure_noise();
    }
    if (!tell(progress_, "finding what moved", 0)) return fail(stopped());
    MovedRegions moved;
    if (options_.resolve_motion) moved = find_motion();
    if (!tell(progress_, "merging", 0)) return fail(stopped());
    return finish(moved);
  }

 private:
  static Error stopped() {
    return {.kind = ErrorKind::cancelled,
            .where = {},
            .field = {},
            .what = "the merge was stopped",
            .remedy = {}};
  }

  [[nodiscard]] std::size_t reference() const {
    return static_cast<std::size_t>(report_.reference);
  }

  // In rising exposure, ties in the order given.
  Result<void> take(std::vector<Frame>& frames, const std::vector<double>& exposures) {
    std::vector<std::size_t> order(frames.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
      return exposures[a] * kSameStep < exposures[b];
    });
    const auto curve = TransferCurve::of(frames.front().image);
    if (!curve) {
      Error error = curve.error();
      error.where = frames.front().info.file;
      return fail(error);
    }
    for (const std::size_t i : order) {
      exposed_.push_back({std::move(frames[i].image), *curve, exposures[i]});
      report_.exposures.push_back({.file = frames[i].info.file, .exposure = exposures[i]});
      infos_.push_back(std::move(frames[i].info));
    }
    choose_reference();
    const double unit =
        options_.unit_exposure > 0 ? options_.unit_exposure : exposed_[reference()].exposure;
    const double at_reference = exposed_[reference()].exposure;
    for (std::size_t i = 0; i < exposed_.size(); ++i) {
      MergedExposure& told = report_.exposures[i];
      told.nominal_ev = told.measured_ev = ev_between(exposed_[i].exposure, at_reference);
      exposed_[i].exposure /= unit;
    }
    return {};
  }

  void choose_reference() {
    std::vector<int> first_of_step{0};
    for (int i = 1; i < static_cast<int>(exposed_.size()); ++i) {
      const auto k = static_cast<std::size_t>(i);
      if (exposed_[k].exposure > exposed_[k - 1].exposure * kSameStep) first_of_step.push_back(i);
    }
    report_.reference = first_of_step[(first_of_step.size() - 1) / 2];
  }

  Result<void> check_clipping() {
    for (std::size_t i = 0; i < exposed_.size(); ++i) {
      const Mask clipped = clipped_pixels(exposed_[i], options_.clip_level);
      const auto count = std::count(clipped.values.begin(), clipped.values.end(), 255);
      report_.exposures[i].clipped_share =
          static_cast<double>(count) / static_cast<double>(clipped.values.size());
    }
    report_.clipped_share = report_.exposures.front().clipped_share;
    constexpr double kAll = 0.99;
    if (report_.clipped_share > kAll) {
      return fail(user_error(
          report_.exposures.front().file, "exposure",
          fmt::format("{:.1f} % of the shortest exposure is clipped", 100 * report_.clipped_share),
          "take a shorter exposure; there is no picture in these frames"));
    }
    return {};
  }

  // Each frame against the one next to it towards the reference, which lies on the raster already.
  bool align() {
    const int count = static_cast<int>(exposed_.size());
    int done = 0;
    const auto one = [&](int i, int neighbour) {
      if (!tell(progress_, "aligning", static_cast<double>(done++) / std::max(1, count - 1))) {
        return false;
      }
      align_one(static_cast<std::size_t>(i), static_cast<std::size_t>(neighbour));
      return true;
    };
    for (int i = report_.reference - 1; i >= 0; --i) {
      if (!one(i, i + 1)) return false;
    }
    for (int i = report_.reference + 1; i < count; ++i) {
      if (!one(i, i - 1)) return false;
    }
    return true;
  }

  void align_one(std::size_t i, std::size_t neighbour) {
    Exposed& frame = exposed_[i];
    const auto found =
        measure_motion(exposed_[neighbour], frame, report_.noise, options_.clip_level);
    if (!found) return;
    // What is not surely more than nothing costs sharpness and brings nothing.
    constexpr double kLeastReach_px = 0.1;
    const double reach = found->motion.reach_px(frame.image.width(), frame.image.height());
    if (reach < std::max(kLeastReach_px, 4 * found->sigma_px)) return;
    frame.image = moved_onto_reference(frame, found->motion, options_.clip_level);
    frame.extent = moved_extent(frame.image.width(), frame.image.height(), found->motion);
    report_.exposures[i].motion = found->motion;
  }

  void measure_noise() {
    if (options_.noise) return;
    const auto fitted = fit_noise(exposed_, options_.clip_level);
    if (!fitted) return;
    report_.noise = *fitted;
    report_.noise_source = NoiseSource::fitted;
  }

  // Outwards from the reference, whose exposure is believed.
  void refine_exposures() {
    for (std::size_t i = reference() + 1; i < exposed_.size(); ++i) refine_one(i, i - 1);
    for (std::size_t i = reference(); i-- > 0;) refine_one(i, i + 1);
  }

  void refine_one(std::size_t i, std::size_t neighbour) {
    const bool longer = i > neighbour;
    const auto measured =
        measure_ratio(exposed_[std::min(i, neighbour)], exposed_[std::max(i, neighbour)],
                      report_.noise, options_.clip_level);
    MergedExposure& told = report_.exposures[i];
    const MergedExposure& known = report_.exposures[neighbour];
    const double nominal_step = told.nominal_ev - known.nominal_ev;
    if (measured) {
      const double factor = longer ? 1 / measured->ratio : measured->ratio;
      exposed_[i].exposure = exposed_[neighbour].exposure * factor;
      told.measured_ev = known.measured_ev + std::log2(factor);
      told.sigma_ev = std::hypot(measured->sigma_ev, known.sigma_ev);
    } else {
      exposed_[i].exposure = exposed_[neighbour].exposure * std::exp2(nominal_step);
      told.measured_ev = known.measured_ev + nominal_step;
    }
  }

  MovedRegions find_motion() {
    MovedRegions moved = find_moved_regions(exposed_, report_.reference, report_.noise,
                                            {.clip_level = options_.clip_level});
    report_.moved_regions = static_cast<int>(moved.regions.size());
    double pixels = 0;
    for (const MovedRegion& region : moved.regions) pixels += region.size_px;
    report_.moved_share = pixels / static_cast<double>(moved.label.values.size());
    return moved;
  }

  Result<MergedFrame> finish(const MovedRegions& moved) {
    const std::vector<Mask> usable = usable_shares(exposed_, options_.clip_level);
    const Image& source = exposed_[reference()].image;
    Image merged = merge_rows({.frames = exposed_,
                               .usable = usable,
                               .moved = moved.regions.empty() ? nullptr : &moved,
                               .noise = report_.noise,
                               .clip_level = options_.clip_level,
                               .black_is_cut = source.type() != SampleType::f32});
    merged.file = source.file;
    if (!source.icc_profile.empty()) {
      auto profile = with_transfer(source.icc_profile, Transfer::linear, source.file);
      if (!profile) return tl::unexpected(profile.error());
      merged.icc_profile = std::move(*profile);
    }
    return MergedFrame{.frame = {std::move(merged), std::move(infos_[reference()])},
                       .report = std::move(report_)};
  }

  const MergeOptions& options_;
  const ProgressFn& progress_;
  std::vector<Exposed> exposed_;
  std::vector<FrameInfo> infos_;
  MergeReport report_;
};

}  // namespace

std::optional<Error> MergeOptions::validate() const {
  if (!(clip_level >= 0.5 && clip_level <= 1)) {
    return user_error({}, "clip_level", fmt::format("{} is outside 0.5…1", clip_level),
                      "0.99 is usual");
  }
  if (!(unit_exposure >= 0) || !std::isfinite(unit_exposure)) {
    return user_error({}, "unit_exposure", fmt::format("{} is not an exposure", unit_exposure),
                      "give a positive number, or 0 for the reference's");
  }
  if (!noise) return std::nullopt;
  for (std::size_t c = 0; c < 3; ++c) {
    const bool good = std::isfinite(noise->shot[c]) && noise->shot[c] >= 0 &&
                      std::isfinite(noise->read[c]) && noise->read[c] > 0;
    if (!good) {
      return user_error(
          {}, "noise",
          fmt::format("shot {} with read {} is no noise", noise->shot[c], noise->read[c]),
          "give variances: shot 0 or more, read above 0");
    }
  }
  return std::nullopt;
}

std::vector<std::string> MergeReport::findings() const {
  std::vector<std::string> found;
  constexpr double kFarOff_ev = 0.3;
  for (const MergedExposure& exposure : exposures) {
    if (std::abs(exposure.measured_ev - exposure.nominal_ev) > kFarOff_ev) {
      found.push_back(
          fmt::format("{}: EXIF says {:+.2f} EV, the pixels {:+.2f} EV against the "
                      "reference; the pixels were believed",
                      exposure.file, exposure.nominal_ev, exposure.measured_ev));
    }
  }
  if (clipped_share > kMostClippedOfLamps) found.push_back(clipped_in_words(clipped_share));
  return found;
}

std::vector<std::string> MergeReport::notes() const {
  if (clipped_share <= kLeastClippedToTell || clipped_share > kMostClippedOfLamps) return {};
  return {clipped_in_words(clipped_share)};
}

Result<MergedFrame> merge_brackets(std::vector<Frame> frames, const std::vector<double>& exposures,
                                   const MergeOptions& options, const ProgressFn& progress) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = check_frames(frames, exposures)) return fail(std::move(*error));
  return Merge(options, progress).run(frames, exposures);
}

}  // namespace seamwright
