#include "jobs/archive/file_contents.h"

#include "base/written_files.h"

namespace seamwright {
namespace fs = std::filesystem;

Result<std::string> FileContents::of_input(const fs::path& file) {
  auto content = hashes_.of(file, read_all_ ? Reading::anew : Reading::remembered);
  if (!content) return tl::unexpected(content.error());
  if (content->decayed) {
    return fail({.kind = ErrorKind::io,
                 .where = file.string(),
                 .field = {},
                 .what = "holds something else than it did, though nothing has written to it",
                 .remedy = "restore it from a backup; if it is right as it is, touch it"});
  }
  if (content->learned) {
    if (auto kept = keep_(*content->learned); !kept) return tl::unexpected(kept.error());
  }
  return std::move(content->sha256);
}

Result<std::string> FileContents::of_output(const fs::path& file, Reading reading) {
  auto content = hashes_.of(file, reading);
  if (!content) return tl::unexpected(content.error());
  if (content->decayed) {
    const std::scoped_lock lock(mutex_);
    decayed_[file] = content->sha256;
  }
  if (content->learned) {
    hashes_.remember(*content->learned);
    if (auto kept = keep_(*content->learned); !kept) return tl::unexpected(kept.error());
  }
  return std::move(content->sha256);
}

Result<std::string> FileContents::of_fresh(const fs::path& file) {
  if (auto hash = hash_of_committed(file)) return std::move(*hash);
  return of_output(file, Reading::remembered);
}

std::map<fs::path, std::string> FileContents::decayed() const {
  const std::scoped_lock lock(mutex_);
  return decayed_;
}

}  // namespace seamwright
