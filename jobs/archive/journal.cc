#include "jobs/archive/journal.h"

#include <cerrno>
#include <cstring>
#include <utility>

#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include "base/file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::size_t kChecksum = 16;

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
    auto entry = nlohmann::json::parse(line.substr(kChecksum + 1), nullptr, false);
    if (entry.is_object()) {
      parsed.entries.push_back(std::move(entry));
    } else {
      ++parsed.damaged_lines;
    }
  }
  return parsed;
}

}  // namespace

Result<Journal> Journal::open(const fs::path& path) {
  auto file = OwnFile::open(path, "journal");
  if (!file) return tl::unexpected(file.error());
  Journal journal(path, std::move(*file));
  const int descriptor = journal.file_.descriptor();
  if (::flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
    return fail(journal_error(path, "another run works on this folder",
                              "wait for it, or choose another output folder"));
  }
  const auto text = journal.file_.bytes();
  if (!text) return tl::unexpected(text.error());
  Parsed parsed = parse(*text);
  if (parsed.whole_bytes < text->size() &&
      ::ftruncate(descriptor, static_cast<off_t>(parsed.whole_bytes)) != 0) {
    return fail(journal_error(path, "its torn last line cannot be cut off",
                              "check the disk and the folder's permissions"));
  }
  journal.entries_ = std::move(parsed.entries);
  journal.damaged_lines_ = parsed.damaged_lines;
  return journal;
}

Result<JournalContents> Journal::read(const fs::path& path) {
  std::error_code code;
  if (!fs::exists(fs::symlink_status(path, code))) return JournalContents{};
  const auto file = OwnFile::open_to_read(path, "journal");
  if (!file) return tl::unexpected(file.error());
  const auto text = file->bytes();
  if (!text) return tl::unexpected(text.error());
  Parsed parsed = parse(*text);
  return JournalContents{std::move(parsed.entries), parsed.damaged_lines};
}

Result<void> Journal::append(const nlohmann::json& entry) {
  const std::string text = entry.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
  const std::string line = checksum_of(text) + " " + text + "\n";
  const auto size = static_cast<ssize_t>(line.size());
  const int file = file_.descriptor();
  if (::write(file, line.data(), line.size()) == size && ::fsync(file) == 0) {
    entries_.push_back(entry);
    return {};
  }
  return fail(journal_error(path_, fmt::format("cannot be written: {}", std::strerror(errno)),
                            "make room on the disk and start again: nothing is lost"));
}

}  // namespace seamwright
