#include "jobs/archive/folder_lock.h"

#include <utility>

#include <sys/file.h>

namespace seamwright {

Result<FolderLock> FolderLock::take(const std::filesystem::path& file, Kind kind) {
  auto own = OwnFile::open(file, "lock");
  if (!own) return tl::unexpected(own.error());
  FolderLock lock(std::move(*own));
  const int how = kind == Kind::alone ? LOCK_EX : LOCK_SH;
  if (::flock(lock.file_.descriptor(), how | LOCK_NB) == 0) return lock;
  return fail({.kind = ErrorKind::io,
               .where = file.parent_path().parent_path().string(),
               .field = "lock",
               .what = "another run works on this folder",
               .remedy = "wait for it, or choose another output folder"});
}

}  // namespace seamwright
