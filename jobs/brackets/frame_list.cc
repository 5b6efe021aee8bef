#include "jobs/brackets/frame_list.h"

#include <algorithm>
#include <array>
#include <set>
#include <string_view>
#include <system_error>

#include <fmt/format.h>

#include "base/lower_suffix.h"
#include "imaging/metadata.h"
#include "imaging/raw_reader.h"
#include "imaging/read_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

bool has_picture_suffix(const fs::path& path) {
  constexpr std::array<std::string_view, 6> kSuffixes = {".tif", ".tiff", ".png",
                                                         ".jpg", ".jpeg", ".dng"};
  const std::string suffix = lower_suffix(path);
  return std::find(kSuffixes.begin(), kSuffixes.end(), suffix) != kSuffixes.end();
}

bool is_picture(const fs::path& path) {
  if (path.filename().string().front() == '.') return false;
  return has_picture_suffix(path) || is_raw_file(path);
}

Error list_error(const fs::path& path, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = path.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

Result<ListedFrame> listed(const fs::path& file) {
  const auto header = read_image_header(file);
  if (!header) return tl::unexpected(header.error());
  auto info = read_frame_info(file);
  if (!info) return tl::unexpected(info.error());
  return ListedFrame{file, std::move(*info), header->width, header->height};
}

}  // namespace

Result<std::vector<fs::path>> pictures_in(const fs::path& folder) {
  std::error_code code;
  std::vector<fs::path> files;
  for (fs::directory_iterator at(folder, code), end; !code && at != end; at.increment(code)) {
    std::error_code ignored;
    if (at->is_regular_file(ignored) && is_picture(at->path())) files.push_back(at->path());
  }
  if (code) {
    return fail(list_error(folder, "cannot be read: " + code.message(), "check its permissions"));
  }
  if (files.empty()) {
    return fail(list_error(folder, "holds no pictures",
                           "give a folder with TIFF, PNG, JPEG or raw frames"));
  }
  std::sort(files.begin(), files.end());
  return files;
}

Result<FrameListing> list_readable_frames(const std::vector<fs::path>& paths,
                                          const ProgressFn& progress) {
  FrameListing listing;
  std::vector<fs::path> files;
  for (const fs::path& path : paths) {
    std::error_code code;
    if (!fs::is_directory(path, code)) {
      files.push_back(path);
      continue;
    }
    const auto inside = pictures_in(path);
    if (inside) files.insert(files.end(), inside->begin(), inside->end());
    if (!inside) listing.unlisted.push_back({path, inside.error()});
  }
  std::set<fs::path> seen;
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (!tell(progress, "reading headers",
              static_cast<double>(i) / static_cast<double>(files.size()))) {
      return fail(stopped_while("listing frames"));
    }
    if (!seen.insert(files[i].lexically_normal()).second) continue;
    auto frame = listed(files[i]);
    if (frame) listing.frames.push_back(std::move(*frame));
    if (!frame) listing.unlisted.push_back({files[i], frame.error()});
  }
  return listing;
}

Result<std::vector<ListedFrame>> list_frames(const std::vector<fs::path>& paths,
                                             const ProgressFn& progress) {
  std::vector<fs::path> files;
  for (const fs::path& path : paths) {
    std::error_code code;
    if (!fs::is_directory(path, code)) {
      files.push_back(path);
      continue;
    }
    const auto inside = pictures_in(path);
    if (!inside) return tl::unexpected(inside.error());
    files.insert(files.end(), inside->begin(), inside->end());
  }
  std::set<fs::path> seen;
  std::vector<ListedFrame> frames;
  for (const fs::path& file : files) {
    if (!seen.insert(file.lexically_normal()).second) {
      return fail(list_error(file, "is given twice", "give each frame once"));
    }
    if (!tell(progress, "reading headers",
              static_cast<double>(frames.size()) / static_cast<double>(files.size()))) {
      return fail({.kind = ErrorKind::cancelled,
                   .where = {},
                   .field = {},
                   .what = "listing the frames was stopped",
                   .remedy = {}});
    }
    auto frame = listed(file);
    if (!frame) return tl::unexpected(frame.error());
    frames.push_back(std::move(*frame));
  }
  return frames;
}

}  // namespace seamwright
