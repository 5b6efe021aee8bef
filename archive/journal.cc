#include "archive/journal.h"

#include <cerrno>
#include <cstring>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include "base/file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::size_t kChecksum = 16;
constexpr std::size_t kMostBytes = std::size_t{1} << 32U;

Error journal_error(const fs::path& path, const std::string& what, const std::string& remedy) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = "journal",
          .what = what,
          .remedy = remedy};
}

std::string checksum_of(std::string_view text) { return sha256(text).substr(0, kChecksum); }

struct Parsed {
  std::vector<nlohmann::json> entries;
  int damaged_lines = 0;
  std::size_t whole_bytes = 0;  ///< up to the end of the last line that was finished
};

Parsed parse(std::string_view text) {
  Parsed parsed;
  std::size_t begin = 0;
  for (std::size_t end; (end = text.find('\n', begin)) != std::string_view::npos; begin = end + 1) {
    const std::string_view line = text.substr(begin, end - begin);
    parsed.whole_bytes = end + 1;
    const bool right = line.size() > kChecksum + 1 && line[kChecksum] == ' ' &&
                       checksum_of(line.substr(kChecksum + 1)) == line.substr(0, kChecksum);
    if (!right) {
      ++parsed.damaged_lines;
      continue;
    }
    parsed.entries.push_back(nlohmann::json::parse(line.substr(kChecksum + 1), nullptr, false));
  }
  return parsed;
}

}  // namespace

Result<Journal> Journal::open(const fs::path& path) {
  std::error_code code;
  if (path.has_parent_path()) fs::create_directories(path.parent_path(), code);
  const int file = ::open(path.c_str(), O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0666);
  if (file < 0) {
    return fail(journal_error(path, fmt::format("cannot be written: {}", std::strerror(errno)),
                              "choose an output folder you may write to"));
  }
  Journal journal(path, file);
  if (::flock(file, LOCK_EX | LOCK_NB) != 0) {
    return fail(journal_error(path, "another run works on this folder",
                              "wait for it, or choose another output folder"));
  }
  const auto text = read_file(path, kMostBytes);
  if (!text) return tl::unexpected(text.error());
  Parsed parsed = parse(*text);
  if (parsed.whole_bytes < text->size() &&
      ::ftruncate(file, static_cast<off_t>(parsed.whole_bytes)) != 0) {
    return fail(journal_error(path, "its torn last line cannot be cut off",
                              "check the disk and the folder's permissions"));
  }
  journal.entries_ = std::move(parsed.entries);
  journal.damaged_lines_ = parsed.damaged_lines;
  return journal;
}

Result<JournalContents> Journal::read(const fs::path& path) {
  std::error_code code;
  if (!fs::exists(path, code)) return JournalContents{};
  const auto text = read_file(path, kMostBytes);
  if (!text) return tl::unexpected(text.error());
  Parsed parsed = parse(*text);
  return JournalContents{std::move(parsed.entries), parsed.damaged_lines};
}

Journal::Journal(Journal&& other) noexcept
    : path_(std::move(other.path_)),
      file_(std::exchange(other.file_, -1)),
      entries_(std::move(other.entries_)),
      damaged_lines_(other.damaged_lines_) {}

Journal::~Journal() {
  if (file_ >= 0) ::close(file_);
}

Result<void> Journal::append(const nlohmann::json& entry) {
  const std::string text = entry.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
  const std::string line = checksum_of(text) + " " + text + "\n";
  const auto size = static_cast<ssize_t>(line.size());
  if (::write(file_, line.data(), line.size()) == size && ::fsync(file_) == 0) {
    entries_.push_back(entry);
    return {};
  }
  return fail(journal_error(path_, fmt::format("cannot be written: {}", std::strerror(errno)),
                            "make room on the disk and start again: nothing is lost"));
}

}  // namespace seamwright
