#pragma once

// A hole filled by whole pieces of what is around it, moved along the few offsets by which the
// surroundings repeat: joints of boards and tiles go on, and nothing melts.
//
// Blocks beside the hole look for their like; the offsets that many agree on are the labels. Each
// pixel of the hole takes one, so that neighbours show the same at their border (He & Sun 2012,
// ECCV, "Statistics of Patch Offsets for Image Completion"; costs as Kwatra et al. 2003, ACM ToG
// 22:277–286). Labels are found by expansion moves (Boykov, Veksler, Zabih 2001, IEEE Trans. PAMI
// 23:1222–1239) on a small scale and refined on each finer one.

#include <optional>
#include <vector>

#include <opencv2/core.hpp>

namespace seamwright {

/// `picture`: CV_32FC3; `hole`: CV_8U; `hole_px`: radius of a circle as large. Empty where the
/// surroundings hold no offset that reaches over the hole.
[[nodiscard]] std::optional<cv::Mat3f> fill_by_shifts(const cv::Mat3f& picture,
                                                      const cv::Mat1b& hole, double hole_px);

/// How well such a filling does here: holes of the same size and shape beside the true one, in four
/// directions, are filled alike on a small scale and compared with what is there. PSNR of each in
/// dB against 1, worst first; empty where there is no room for one.
[[nodiscard]] std::vector<double> filled_beside_db(const cv::Mat3f& picture, const cv::Mat1b& hole,
                                                   double hole_px);

}  // namespace seamwright
