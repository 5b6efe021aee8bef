#include "jobs/brackets/connected.h"

#include <opencv2/imgproc.hpp>

namespace seamwright {

Regions connected_regions(const Mask& mask) {
  Regions regions{.label = Plane<int>(mask.width, mask.height), .size_px = {0}};
  const cv::Mat inside(mask.height, mask.width, CV_8U, const_cast<std::uint8_t*>(mask.line(0)));
  cv::Mat label(mask.height, mask.width, CV_32S, regions.label.line(0));
  cv::Mat stats;
  cv::Mat centroids;
  const int found = cv::connectedComponentsWithStats(inside, label, stats, centroids, 8, CV_32S);
  // In which order OpenCV numbers them depends on its version.
  std::vector<int> number(static_cast<std::size_t>(found), 0);
  for (int& at : regions.label.values) {
    if (at == 0) continue;
    int& own = number[static_cast<std::size_t>(at)];
    if (own == 0) {
      own = static_cast<int>(regions.size_px.size());
      regions.size_px.push_back(stats.at<int>(at, cv::CC_STAT_AREA));
    }
    at = own;
  }
  return regions;
}

}  // namespace seamwright
