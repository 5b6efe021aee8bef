#include "imaging/picture_limit.h"

#include <algorithm>
#include <atomic>
#include <fstream>
#include <string>

#include <fmt/format.h>
#include <unistd.h>

namespace seamwright {
namespace {

// Zeros stand for PictureLimit::usual().
std::atomic<std::uint64_t> most_pixels{0};
std::atomic<std::uint64_t> most_bytes{0};

std::uint64_t machine_bytes() {
  const long pages = ::sysconf(_SC_PHYS_PAGES);
  const long page = ::sysconf(_SC_PAGESIZE);
  if (pages <= 0 || page <= 0) return UINT64_MAX;
  return static_cast<std::uint64_t>(pages) * static_cast<std::uint64_t>(page);
}

// The folder of this process' control group (Linux, cgroup v2: a line "0::/path").
std::filesystem::path own_group() {
  std::ifstream groups("/proc/self/cgroup");
  for (std::string line; std::getline(groups, line);) {
    if (line.starts_with("0::/")) return std::filesystem::path("/sys/fs/cgroup") / line.substr(4);
  }
  return {};
}

// The least of what the group and those above it may use; "max" stands where there is no limit.
std::uint64_t group_bytes() {
  std::uint64_t least = UINT64_MAX;
  for (auto group = own_group(); group.string().starts_with("/sys/fs/cgroup");
       group = group.parent_path()) {
    std::ifstream file(group / "memory.max");
    std::uint64_t bytes = 0;
    if (file >> bytes) least = std::min(least, bytes);
  }
  return least;
}

PictureLimit present_limit() {
  const std::uint64_t pixels = most_pixels.load();
  return pixels == 0 ? PictureLimit::usual() : PictureLimit{pixels, most_bytes.load()};
}

std::string in_gib(std::uint64_t bytes) {
  return fmt::format("{:.2f} GiB", static_cast<double>(bytes) / (1024.0 * 1024 * 1024));
}

}  // namespace

PictureLimit PictureLimit::usual() {
  static const std::uint64_t half = std::min(machine_bytes(), group_bytes()) / 2;
  return {.pixels = PictureLimit{}.pixels, .bytes = half};
}

PictureLimitScope::PictureLimitScope(const PictureLimit& limit)
    : before_{most_pixels.load(), most_bytes.load()} {
  most_bytes = limit.bytes;
  most_pixels = std::max<std::uint64_t>(limit.pixels, 1);
}

PictureLimitScope::~PictureLimitScope() {
  most_bytes = before_.bytes;
  most_pixels = before_.pixels;
}

Result<void> check_picture_limit(const std::filesystem::path& path, std::uint64_t width,
                                 std::uint64_t height, std::uint64_t pixel_bytes) {
  const PictureLimit limit = present_limit();
  const std::uint64_t pixels = width * height;  // sides are a million at most
  const auto refused = [&](std::string what) {
    return fail(
        {.kind = ErrorKind::user_input,
         .where = path.string(),
         .field = {},
         .what = fmt::format("is {} × {} pixels, ", width, height) + std::move(what),
         .remedy = "use a smaller picture, or raise the limit if this one is to be so large"});
  };
  if (pixels > limit.pixels) {
    return refused(fmt::format("{:.2f} Gpx; up to {:.2f} Gpx are read",
                               static_cast<double>(pixels) * 1e-9,
                               static_cast<double>(limit.pixels) * 1e-9));
  }
  if (pixels * pixel_bytes > limit.bytes) {
    return refused(fmt::format("{} in memory; up to {} are read", in_gib(pixels * pixel_bytes),
                               in_gib(limit.bytes)));
  }
  return {};
}

}  // namespace seamwright
