#include "jobs/archive/hashes.h"

#include <algorithm>
#include <chrono>

#include "base/file.h"

namespace seamwright {

namespace {

// The times of some file systems move in steps of two seconds.
constexpr std::int64_t kClearlyOlder_ns = 2'000'000'000;

}  // namespace

void Hashes::remember(const HashLine& line) {
  const std::scoped_lock lock(mutex_);
  known_[line.file] = {line.stamp, line.sha256};
}

std::optional<Hashes::Known> Hashes::known(const std::string& name) const {
  const std::scoped_lock lock(mutex_);
  const auto known = known_.find(name);
  return known == known_.end() ? std::nullopt : std::optional(known->second);
}

std::int64_t Hashes::now_ns() const {
  if (clock_) return clock_();
  return std::chrono::duration_cast<std::chrono::nanoseconds>(
             std::chrono::system_clock::now().time_since_epoch())
      .count();
}

Result<Content> Hashes::of(const std::filesystem::path& file, Reading reading) {
  const std::string name = std::filesystem::absolute(file).lexically_normal().string();
  const auto before = stamp_of(file);
  const auto known = this->known(name);
  const bool same = before && known && known->stamp == *before;
  if (same && (reading == Reading::remembered || known->read_now)) {
    return Content{.sha256 = known->sha256};
  }
  const std::int64_t began_ns = now_ns();
  auto hash = sha256_of_file(file);
  if (!hash) return tl::unexpected(hash.error());
  Content content{.sha256 = std::move(*hash)};
  content.decayed = same && known->sha256 != content.sha256;
  const bool settled =
      before && stamp_of(file) == before &&
      std::max(before->changed_ns, before->status_ns) < began_ns - kClearlyOlder_ns;
  if (!settled) return content;
  if (!same || content.decayed) {
    content.learned = HashLine{.file = name, .stamp = *before, .sha256 = content.sha256};
  }
  if (!content.decayed) {
    const std::scoped_lock lock(mutex_);
    known_[name] = {*before, content.sha256, true};
  }
  return content;
}

}  // namespace seamwright
