#pragma once

// How large a picture may be to be read. A file of a few kilobytes can hold a picture of any size:
// what its header says is compared with this before memory is taken for pixels.

#include <cstdint>
#include <filesystem>

#include "base/result.h"

namespace seamwright {

struct PictureLimit {
  std::uint64_t pixels = 4'000'000'000;  ///< a panorama 65,536 wide has 2.1 of these
  std::uint64_t bytes = UINT64_MAX;      ///< of its decoded samples

  /// What holds unless a person says otherwise: 4 Gpx, and what fits into half of the memory that
  /// this process may use (of the machine, or of its control group where that is less).
  [[nodiscard]] static PictureLimit usual();
};

/// Reads pictures up to `limit` while it lives, whatever the thread; one at a time. Without one,
/// PictureLimit::usual() holds.
class PictureLimitScope {
 public:
  explicit PictureLimitScope(const PictureLimit& limit);
  ~PictureLimitScope();
  PictureLimitScope(const PictureLimitScope&) = delete;
  PictureLimitScope& operator=(const PictureLimitScope&) = delete;

 private:
  PictureLimit before_;
};

/// Refuses a picture beyond the limit that holds now.
[[nodiscard]] Result<void> check_picture_limit(const std::filesystem::path& path,
                                               std::uint64_t width, std::uint64_t height,
                                               std::uint64_t pixel_bytes);

}  // namespace seamwright
