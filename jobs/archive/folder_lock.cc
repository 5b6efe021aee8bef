#include "jobs/archive/folder_lock.h"

#include <utility>

namespace seamwright {

Result<FolderLock> FolderLock::take(const std::filesystem::path& file, Kind kind) {
  const auto failed = [](Error error) {
    error.field = "lock";
    return fail(std::move(error));
  };
  auto own = OwnFile::open(file, OwnFile::Presence::either, OwnFile::Folder::own);
  if (!own) return failed(own.error());
  const auto locked = own->lock(kind);
  if (!locked) return failed(locked.error());
  if (*locked == OwnFile::Locked::yes) return FolderLock(std::move(*own));
  return failed({.kind = ErrorKind::io,
                 .where = file.parent_path().parent_path().string(),
                 .field = {},
                 .what = "another run works on this folder",
                 .remedy = "wait for it, or choose another output folder"});
}

}  // namespace seamwright
