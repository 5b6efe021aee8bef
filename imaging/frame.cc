#include "imaging/frame.h"

#include <algorithm>
#include <iterator>

#include <fmt/format.h>

#include "base/parallel.h"
#include "base/user_error.h"
#include "imaging/metadata.h"
#include "imaging/orient.h"
#include "imaging/read_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Result<Frame> read_frame(const fs::path& path) {
  auto image = read_image(path);
  if (!image) return tl::unexpected(image.error());
  auto info = read_frame_info(path);
  if (!info) return tl::unexpected(info.error());
  return Frame{std::move(*image), std::move(*info)};
}

// Side by side; what is said of broken files is the first one's.
Result<std::vector<Frame>> read_files(const std::vector<fs::path>& files) {
  std::vector<Result<Frame>> read(files.size());
  parallel_for(0, static_cast<int>(files.size()), [&](int i) {
    const auto file = static_cast<std::size_t>(i);
    read[file] = read_frame(files[file]);
  });
  std::vector<Frame> frames;
  for (Result<Frame>& frame : read) {
    if (!frame) return tl::unexpected(frame.error());
    frames.push_back(std::move(*frame));
  }
  return frames;
}

Result<std::vector<Frame>> split(const Frame& whole, const FrameIntake& intake) {
  const bool across = intake.layout == FrameLayout::side_by_side;
  const Image& image = whole.image;
  const int length = across ? image.width() : image.height();
  if (length % intake.lens_count != 0) {
    return fail(user_error(whole.info.file, "layout",
                           fmt::format("{} of {} pixels does not divide into {} equal parts",
                                       across ? "width" : "height", length, intake.lens_count),
                           "check the layout and the number of lenses"));
  }
  const int part = length / intake.lens_count;
  std::vector<Frame> frames;
  frames.reserve(static_cast<std::size_t>(intake.lens_count));
  for (int i = 0; i < intake.lens_count; ++i) {
    frames.push_back({across ? crop(image, i * part, 0, part, image.height())
                             : crop(image, 0, i * part, image.width(), part),
                      whole.info});
  }
  return frames;
}

void turn(std::vector<Frame>& frames, const FrameIntake& intake) {
  for (std::size_t i = 0; i < frames.size(); ++i) {
    Image& image = frames[i].image;
    const int turns = intake.quarter_turns.empty() ? 0 : intake.quarter_turns[i];
    if (turns % 4 != 0) image = rotate_quarter_turns(image, turns);
    if (intake.mirrored) image = mirror_left_right(image);
  }
}

bool same_pixels(const Image& a, const Image& b) {
  return a.type() == b.type() && std::ranges::equal(a.bytes(), b.bytes());
}

std::string lens_name(const std::vector<Frame>& frames, std::size_t lens) {
  if (frames.size() == 2) return lens == 0 ? "front" : "back";
  return fmt::format("lens {}", lens);
}

Result<void> check_alike(const std::vector<Frame>& frames) {
  const Image& first = frames.front().image;
  for (std::size_t i = 1; i < frames.size(); ++i) {
    const Image& image = frames[i].image;
    if (image.width() != first.width() || image.height() != first.height()) {
      return fail(user_error(
          frames[i].info.file, {},
          fmt::format("is {} × {} pixels, but {} is {} × {}", image.width(), image.height(),
                      frames.front().info.file, first.width(), first.height()),
          "give frames of one shot of one body, all in full size"));
    }
    if (image.channels() != first.channels()) {
      return fail(user_error(frames[i].info.file, {},
                             fmt::format("has {} channels, but {} has {}", image.channel_count(),
                                         frames.front().info.file, first.channel_count()),
                             "save all frames of a shot in the same way"));
    }
  }
  return {};
}

Result<void> check_different(const std::vector<Frame>& frames) {
  for (std::size_t i = 1; i < frames.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      if (!same_pixels(frames[i].image, frames[j].image)) continue;
      return fail(user_error(
          frames[i].info.file, {},
          fmt::format("{} and {} are the same picture", lens_name(frames, j), lens_name(frames, i)),
          "give one picture from each lens"));
    }
  }
  return {};
}

Result<void> check_intake(std::size_t files, const std::string& first, const FrameIntake& intake) {
  const bool split = intake.layout != FrameLayout::one_per_file;
  if (files == 0 || (split && files != 1)) {
    return fail(user_error(
        {}, "frames", fmt::format("{} files for one shot", files),
        split ? "give the one file that holds all lenses" : "give one file for each lens"));
  }
  if (split && intake.lens_count < 1) {
    return fail(user_error(first, "lens count",
                           fmt::format("{} is not a number of lenses", intake.lens_count),
                           "give 1 or more"));
  }
  const std::size_t lenses = split ? static_cast<std::size_t>(intake.lens_count) : files;
  if (!intake.quarter_turns.empty() && intake.quarter_turns.size() != lenses) {
    return fail(
        user_error(first, "quarter turns",
                   fmt::format("{} values for {} lenses", intake.quarter_turns.size(), lenses),
                   "give one for each lens or none"));
  }
  return {};
}

}  // namespace

Result<std::vector<Frame>> read_shot(const std::vector<fs::path>& files,
                                     const FrameIntake& intake) {
  const std::string first = files.empty() ? std::string() : files.front().string();
  if (auto ok = check_intake(files.size(), first, intake); !ok) return tl::unexpected(ok.error());
  auto pictures = read_files(files);
  if (!pictures) return pictures;
  return arrange_shot(std::move(*pictures), intake);
}

Result<std::vector<Frame>> arrange_shot(std::vector<Frame> pictures, const FrameIntake& intake) {
  const std::string first = pictures.empty() ? std::string() : pictures.front().info.file;
  if (auto ok = check_intake(pictures.size(), first, intake); !ok) {
    return tl::unexpected(ok.error());
  }
  Result<std::vector<Frame>> frames = intake.layout == FrameLayout::one_per_file
                                          ? std::move(pictures)
                                          : split(pictures.front(), intake);
  if (!frames) return frames;
  // Turning alike keeps alike frames alike, so look for twins before the work.
  if (auto ok = check_different(*frames); !ok) return tl::unexpected(ok.error());
  turn(*frames, intake);
  if (auto ok = check_alike(*frames); !ok) return tl::unexpected(ok.error());
  return frames;
}

}  // namespace seamwright
