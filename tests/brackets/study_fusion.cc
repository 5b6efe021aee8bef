// OpenCV's exposure fusion (Mertens, Kautz, Van Reeth 2007) of a series of 8- or 16-bit frames, for
// pictures beside ours (run by hand):
//
//   study_fusion OUT.png frame…

#include <cstdio>
#include <vector>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/photo.hpp>

int main(int argc, char** argv) {
  if (argc < 4) {
    std::fputs("usage: study_fusion OUT.png frame frame…\n", stderr);
    return 1;
  }
  std::vector<cv::Mat> frames;
  for (int i = 2; i < argc; ++i) {
    frames.push_back(cv::imread(argv[i], cv::IMREAD_COLOR));
    if (frames.back().empty()) {
      std::fprintf(stderr, "study_fusion: cannot read %s\n", argv[i]);
      return 1;
    }
  }
  cv::Mat fusion, bytes;
  cv::createMergeMertens()->process(frames, fusion);
  fusion.convertTo(bytes, CV_8U, 255);
  return cv::imwrite(argv[1], bytes) ? 0 : 1;
}
