#pragma once

#include <cstdint>
#include <vector>

#include <opencv2/core.hpp>

namespace seamwright {

/// One scale of a picture with a hole: which patches stand where in it.
class PatchScale {
 public:
  static constexpr int kRadius = 3;  ///< patches are 7 × 7

  /// `picture`: CV_32FC3, with a first guess in the hole; `hole`: CV_8U. There must be a place for
  /// a source patch (`has_source`). Sources farther than about 3 · `hole_px` from where they are
  /// wanted must fit better: what lies near is the same floor.
  PatchScale(cv::Mat3f picture, cv::Mat1b hole, double hole_px, std::uint64_t seed);

  [[nodiscard]] bool has_source() const { return !sources_.empty(); }
  /// Any source for every target; then the hole is filled from its border inwards, each pixel by
  /// the patch that best fits what is known around it (Criminisi, Pérez, Toyama 2004, IEEE Trans.
  /// Image Processing 13:1200–1212, with the border's order). For small scales: tries every source.
  void peel();
  /// Twice the places of a scale half as fine.
  void take_over(const PatchScale& coarser);
  /// Propagation and random search within `reach_px`, `rounds` times.
  void search(int rounds, int reach_px);
  /// Fills the hole with what the patches say. `sharpness` > 1 lets the best ones decide.
  void vote(float sharpness);

  [[nodiscard]] const cv::Mat3f& picture() const { return picture_; }

 private:
  struct Place {
    int x = 0, y = 0;
  };

  [[nodiscard]] bool is_source(int x, int y) const;
  [[nodiscard]] float distance(Place target, Place source, float limit) const;
  [[nodiscard]] float farness(Place target, Place source) const;
  void guess();
  [[nodiscard]] Place best_known_fit(Place target, const cv::Mat1b& known) const;
  void measure();
  void improve(int y, int round, int reach_px);

  cv::Mat3f picture_;
  cv::Mat1b hole_;
  cv::Mat1b target_;                 // patch centres that touch the hole
  cv::Mat1b source_;                 // patch centres that do not, within the picture
  std::vector<Place> sources_;       // all of them, for guesses
  cv::Mat1f depth_;                  // distance of hole pixels from its border
  std::vector<Place> match_, next_;  // by pixel of the picture
  std::vector<float> cost_, next_cost_;
  double hole_px_;
  std::uint64_t seed_;
};

}  // namespace seamwright
