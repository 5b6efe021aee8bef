#include "jobs/archive/journal.h"

#include <cstdint>
#include <system_error>
#include <utility>

#include "base/file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::size_t kChecksum = 16;

constexpr std::uintmax_t kMostBytes = std::uintmax_t{1} << 32U;

// A run ends where its journal cannot be kept; it knows that by the field.
tl::unexpected<Error> journal_failure(Error error) {
  error.field = "journal";
  return fail(std::move(error));
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
  auto file = AppendFile::open(path, AppendFile::Presence::either, AppendFile::Folder::own);
  if (!file) return journal_failure(file.error());
  Journal journal(std::move(*file));
  const auto text = journal.file_.read(kMostBytes);
  if (!text) return journal_failure(text.error());
  Parsed parsed = parse(*text);
  if (parsed.whole_bytes < text->size()) {
    if (auto cut = journal.file_.cut(parsed.whole_bytes); !cut) {
      return journal_failure(cut.error());
    }
  }
  journal.entries_ = std::move(parsed.entries);
  journal.damaged_lines_ = parsed.damaged_lines;
  return journal;
}

Result<JournalContents> Journal::read(const fs::path& path) {
  std::error_code code;
  if (!fs::exists(fs::symlink_status(path, code))) return JournalContents{};
  const auto text = AppendFile::look(path, kMostBytes, AppendFile::Folder::own);
  if (!text) return journal_failure(text.error());
  Parsed parsed = parse(*text);
  return JournalContents{std::move(parsed.entries), parsed.damaged_lines};
}

Result<void> Journal::append(const nlohmann::json& entry) {
  const std::string text = entry.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
  if (auto kept = file_.append(checksum_of(text) + " " + text); !kept) {
    kept.error().remedy = "make room on the disk and start again: nothing is lost";
    return journal_failure(kept.error());
  }
  entries_.push_back(entry);
  return {};
}

}  // namespace seamwright
