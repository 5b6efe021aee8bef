#include "base/file_guard.h"

#include <map>
#include <mutex>
#include <set>
#include <utility>

#include <sys/stat.h>

#include "base/file.h"
#include "base/file_record.h"
#include "base/folder_of.h"
#include "base/leftovers.h"

namespace seamwright {
namespace fs = std::filesystem;

using FileId = std::pair<dev_t, ino_t>;

// What changes when a file's bytes do.
struct FileStamp {
  FileId id;
  off_t size = 0;
  std::pair<time_t, long> modified;
  std::pair<time_t, long> changed;

  bool operator==(const FileStamp&) const = default;
};

namespace {

std::optional<struct stat> status_of(const fs::path& path) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) return std::nullopt;
  return status;
}

FileId id_of(const struct stat& status) { return {status.st_dev, status.st_ino}; }

FileStamp stamp_of(const struct stat& status) {
  return {.id = id_of(status),
          .size = status.st_size,
          .modified = {status.st_mtim.tv_sec, status.st_mtim.tv_nsec},
          .changed = {status.st_ctim.tv_sec, status.st_ctim.tv_nsec}};
}

bool is_inside(const fs::path& file, const fs::path& folder) {
  const fs::path beyond = file.lexically_relative(folder);
  return !beyond.empty() && *beyond.begin() != "..";
}

Error refused(const fs::path& destination, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = destination.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

}  // namespace

struct FileGuard::State {
  Options options;
  State* elder = nullptr;
  std::mutex mutex;
  std::set<FileId> files;
  std::set<fs::path> folders;          // canonical
  std::set<fs::path> swept;            // folders
  std::map<fs::path, FileStamp> ours;  // files found to hold what was written, as they were then
  std::map<fs::path, std::string> recorded_elsewhere;  // SHA-256

  bool reads_file(const FileId& id) {
    const std::scoped_lock lock(mutex);
    return files.contains(id);
  }

  bool reads_folder_of(const fs::path& file) {
    std::error_code code;
    const fs::path place = fs::canonical(folder_of(file), code) / file.filename();
    const std::scoped_lock lock(mutex);
    for (const fs::path& folder : folders) {
      if (!code && is_inside(place, folder)) return true;
    }
    return false;
  }

  // Hashing takes a while, so the answer is kept for as long as the file does not change.
  bool is_ours(const fs::path& file, const FileStamp& stamp) {
    {
      const std::scoped_lock lock(mutex);
      const auto known = ours.find(file);
      if (known != ours.end() && known->second == stamp) return true;
    }
    if (!holds_what_was_written(file) && !is_recorded_elsewhere(file)) return false;
    const std::scoped_lock lock(mutex);
    ours[file] = stamp;
    return true;
  }

  bool is_recorded_elsewhere(const fs::path& file) {
    std::string hash;
    {
      const std::scoped_lock lock(mutex);
      const auto known = recorded_elsewhere.find(file);
      if (known == recorded_elsewhere.end()) return false;
      hash = known->second;
    }
    const auto now = sha256_of_file(file);
    return now && *now == hash;
  }
};

namespace {

// The youngest guard of the process.
std::mutex youngest_mutex;
FileGuard::State* youngest = nullptr;

FileGuard::State* guard() {
  const std::scoped_lock lock(youngest_mutex);
  return youngest;
}

}  // namespace

FileGuard::FileGuard(Options options) : state_(std::make_unique<State>()) {
  state_->options = std::move(options);
  const std::scoped_lock lock(youngest_mutex);
  state_->elder = youngest;
  youngest = state_.get();
}

FileGuard::~FileGuard() {
  const std::scoped_lock lock(youngest_mutex);
  youngest = state_->elder;
}

void FileGuard::reads(const fs::path& path) {
  const auto status = status_of(path);
  if (!status) return;
  std::error_code code;
  const bool folder = S_ISDIR(status->st_mode);
  const fs::path place = folder ? fs::canonical(path, code) : fs::path();
  const std::scoped_lock lock(state_->mutex);
  if (folder) {
    if (!code) state_->folders.insert(place);
  } else {
    state_->files.insert(id_of(*status));
  }
}

void note_read(const fs::path& file) {
  FileGuard::State* const state = guard();
  if (state == nullptr) return;
  const auto status = status_of(file);
  if (!status || !S_ISREG(status->st_mode)) return;
  const std::scoped_lock lock(state->mutex);
  state->files.insert(id_of(*status));
}

void note_written(const fs::path& file, const std::string& sha256_hex) {
  FileGuard::State* const state = guard();
  if (state == nullptr) return;
  const std::scoped_lock lock(state->mutex);
  state->recorded_elsewhere[file] = sha256_hex;
}

std::optional<Error> refusal_to_write(const fs::path& destination, Replacing replacing) {
  std::error_code code;
  if (destination.filename().empty() || fs::is_directory(destination, code)) {
    return refused(destination, "is a folder, not a file to write", "give a file name");
  }
  if (!fs::is_directory(folder_of(destination), code)) {
    Error error = refused(destination, "its folder does not exist",
                          "create the folder or choose another place");
    error.kind = ErrorKind::io;
    return error;
  }
  const bool is_link = fs::is_symlink(fs::symlink_status(destination, code));
  const auto status = status_of(destination);
  if (!status && !is_link) return std::nullopt;
  if (status && !S_ISREG(status->st_mode)) {
    return refused(destination, "is no ordinary file", "give another name");
  }
  if (replacing == Replacing::previous_kept) {
    if (!is_link) return std::nullopt;
    return refused(destination, "is a link, and an update would replace the link itself",
                   "name the file that it leads to");
  }
  FileGuard::State* const state = guard();
  if (state != nullptr && status && state->reads_file(id_of(*status))) {
    return refused(destination, "is one of the files that this is made from", "give another name");
  }
  // A link is replaced itself, never followed; the program makes none.
  const bool ours = status && !is_link &&
                    (state != nullptr ? state->is_ours(destination, stamp_of(*status))
                                      : holds_what_was_written(destination));
  if (ours) return std::nullopt;
  if (state != nullptr && state->reads_folder_of(destination)) {
    return refused(
        destination,
        "is there already, in a folder that is read, and is not as this program wrote it",
        "give another name or folder, or move that file away");
  }
  if (state != nullptr && state->options.overwrite) return std::nullopt;
  return refused(destination, "is there already, and is not as this program wrote it",
                 state != nullptr ? state->options.remedy : "give another name");
}

Result<void> check_destinations(std::span<const fs::path> files) {
  for (const fs::path& file : files) {
    // Folders that are made later hold nothing yet.
    std::error_code code;
    if (!fs::exists(folder_of(file), code)) continue;
    if (auto error = refusal_to_write(file)) return fail(std::move(*error));
  }
  return {};
}

void sweep_leftovers_beside(const fs::path& destination) {
  FileGuard::State* const state = guard();
  if (state == nullptr) return;
  const fs::path folder = folder_of(destination);
  {
    const std::scoped_lock lock(state->mutex);
    if (!state->swept.insert(folder).second) return;
  }
  remove_leftovers(folder);
}

}  // namespace seamwright
