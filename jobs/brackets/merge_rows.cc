#include "jobs/brackets/merge_rows.h"

#include <cmath>
#include <numbers>

#include "base/parallel.h"
#include "jobs/brackets/light.h"

namespace seamwright {
namespace {

/// How much too high the mean of a signal comes out when what lies below zero becomes zero.
double lift_by_cut(double mean, double sigma) {
  constexpr double kFar = 5;
  if (mean >= kFar * sigma) return 0;
  const double z = mean / sigma;
  const double density = std::exp(-0.5 * z * z) / std::sqrt(2 * std::numbers::pi);
  const double below = 0.5 * std::erfc(z / std::numbers::sqrt2);
  return sigma * density - mean * below;
}

/// One pixel's samples of one channel.
struct Samples {
  std::vector<double> signal;
  std::vector<double> share;  ///< 0…1
};

class PixelMerge {
 public:
  explicit PixelMerge(const MergePlan& plan) : plan_(plan) {}

  /// The light that these samples tell.
  [[nodiscard]] double light(const Samples& samples, std::size_t channel) const {
    double sum = 0;
    double exposure = 0;
    for (std::size_t i = 0; i < samples.signal.size(); ++i) {
      sum += samples.share[i] * samples.signal[i];
      exposure += samples.share[i] * plan_.frames[i].exposure;
    }
    double light = sum / exposure;
    constexpr int kRounds = 2;
    for (int round = 0; round < kRounds; ++round) light = weighted(samples, channel, light);
    return light;
  }

 private:
  [[nodiscard]] double weighted(const Samples& samples, std::size_t channel, double light) const {
    double sum = 0;
    double weights = 0;
    for (std::size_t i = 0; i < samples.signal.size(); ++i) {
      if (samples.share[i] <= 0) continue;
      const double exposure = plan_.frames[i].exposure;
      const double expected = std::max(0.0, light * exposure);
      const double variance = plan_.noise.variance(expected, channel);
      const double lift = plan_.black_is_cut ? lift_by_cut(expected, std::sqrt(variance)) : 0;
      const double weight = samples.share[i] * exposure / variance;
      sum += weight * (samples.signal[i] - lift);
      weights += weight * exposure;
    }
    return sum / weights;
  }

  const MergePlan& plan_;
};

/// The rows that one output row is made of.
class RowMerge {
 public:
  RowMerge(const MergePlan& plan, int y) : plan_(plan), y_(y), merge_(plan) {
    for (const Exposed& frame : plan.frames) {
      rows_.push_back(light_row(frame.image));
      decode_light(frame.image, frame.curve, y, rows_.back());
    }
    all_.resize(plan.frames.size());
    region_.resize(plan.frames.size());
    samples_.signal.resize(plan.frames.size());
  }

  void write(std::span<float> out) {
    const Image& image = plan_.frames.front().image;
    const auto step = static_cast<std::size_t>(image.channel_count());
    for (int x = 0; x < image.width(); ++x) {
      const double kept = find_shares(x);
      for (std::size_t c = 0; c < step; ++c) {
        const std::size_t at = static_cast<std::size_t>(x) * step + c;
        for (std::size_t i = 0; i < rows_.size(); ++i) {
          samples_.signal[i] = static_cast<double>(rows_[i][at]);
        }
        out[at] = static_cast<float>(mixed(c, kept));
      }
    }
  }

 private:
  [[nodiscard]] double mixed(std::size_t channel, double kept) {
    double light = 0;
    if (kept < 1) {
      samples_.share = all_;
      light += (1 - kept) * merge_.light(samples_, channel);
    }
    if (kept > 0) {
      samples_.share = region_;
      light += kept * merge_.light(samples_, channel);
    }
    return light;
  }

  /// Shares with and without the region's choice; returns how much the region counts.
  double find_shares(int x) {
    for (std::size_t i = 0; i < all_.size(); ++i) all_[i] = plan_.usable[i].at(x, y_) / 255.0;
    if (plan_.moved == nullptr) return 0;
    const int label = plan_.moved->label.at(x, y_);
    if (label == 0) return 0;
    const MovedRegion& region = plan_.moved->regions[static_cast<std::size_t>(label - 1)];
    double others = 0;
    for (std::size_t i = 0; i < all_.size(); ++i) {
      region_[i] = region.joined[i] != 0 ? all_[i] : 0;
      if (static_cast<int>(i) != region.frame) others += region_[i];
    }
    // Near white by its own word: what shorter frames forecast may have been something else.
    const auto frame = static_cast<std::size_t>(region.frame);
    const bool is_there = plan_.frames[frame].extent.holds(x, y_);
    region_[frame] = is_there && !is_clipped(frame, x) ? 1 : 0;
    // The kept moment is not on the picture here: what is there speaks.
    if (!is_there && others <= 0) return 0;
    if (others <= 0) region_[frame] = 1;
    return plan_.moved->kept.at(x, y_) / 255.0;
  }

  [[nodiscard]] bool is_clipped(std::size_t frame, int x) const {
    const Image& image = plan_.frames[frame].image;
    const auto step = static_cast<std::size_t>(image.channel_count());
    for (std::size_t c = 0; c < step; ++c) {
      const float light = rows_[frame][static_cast<std::size_t>(x) * step + c];
      if (static_cast<double>(light) >= plan_.clip_level) return true;
    }
    return false;
  }

  const MergePlan& plan_;
  int y_;
  PixelMerge merge_;
  std::vector<std::vector<float>> rows_;
  std::vector<double> all_, region_;
  Samples samples_;
};

}  // namespace

Image merge_rows(const MergePlan& plan) {
  const Image& first = plan.frames.front().image;
  Image merged(first.width(), first.height(), first.channels(), SampleType::f32);
  merged.transfer = Transfer::linear;
  parallel_for(0, first.height(), [&](int y) { RowMerge(plan, y).write(merged.row<float>(y)); });
  return merged;
}

}  // namespace seamwright
