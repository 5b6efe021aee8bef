#include "jobs/card/card_files.h"

#include <algorithm>
#include <set>
#include <system_error>

#include <fmt/format.h>

#include "base/file.h"
#include "base/file_guard.h"
#include "jobs/brackets/frame_list.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

bool is_hidden(const fs::path& path) { return path.filename().string().starts_with('.'); }

bool is_one_of(const fs::path& folder, const std::vector<fs::path>& folders) {
  return std::any_of(folders.begin(), folders.end(), [&](const fs::path& other) {
    std::error_code code;
    return fs::equivalent(folder, other, code);
  });
}

/// Folders and files below a place; those that cannot be read are noted.
class Walk {
 public:
  explicit Walk(const std::vector<fs::path>& left_out) : left_out_(left_out) {}

  void into(const fs::path& folder) {
    std::error_code code;
    std::vector<fs::path> folders;
    int files = 0;
    for (fs::directory_iterator at(folder, code), end; !code && at != end; at.increment(code)) {
      std::error_code ignored;
      if (is_hidden(at->path()) || at->is_symlink(ignored)) continue;
      if (at->is_directory(ignored)) folders.push_back(at->path());
      if (at->is_regular_file(ignored)) ++files;
    }
    if (code) return unreadable(folder, "cannot be read: " + code.message());
    if (files > 0) {
      const auto inside = pictures_in(folder);
      if (inside) {
        pictures.insert(pictures.end(), inside->begin(), inside->end());
        files -= static_cast<int>(inside->size());
      }
      found.others += files;
    }
    std::sort(folders.begin(), folders.end());
    for (const fs::path& below : folders) {
      if (!is_one_of(below, left_out_)) into(below);
    }
  }

  void unreadable(const fs::path& path, std::string words) {
    found.unreadable.push_back({path.string(), std::move(words)});
  }

  CardFiles found;
  std::vector<fs::path> pictures;

 private:
  const std::vector<fs::path>& left_out_;
};

Error card_error(const fs::path& card, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = card.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

}  // namespace

Result<CardFiles> walk_card(const fs::path& card, const std::vector<fs::path>& left_out,
                            const ProgressFn& progress) {
  std::error_code code;
  if (!fs::is_directory(card, code)) {
    return fail(card_error(card, "is no folder", "give the folder where the card's files lie"));
  }
  Walk walk(left_out);
  walk.into(card);
  std::sort(walk.pictures.begin(), walk.pictures.end());
  std::set<std::string> contents;
  for (std::size_t i = 0; i < walk.pictures.size(); ++i) {
    const fs::path& file = walk.pictures[i];
    if (!tell(progress, "reading the card",
              static_cast<double>(i) / static_cast<double>(walk.pictures.size()))) {
      return fail(stopped_while("reading the card"));
    }
    note_read(file);
    auto hash = sha256_of_file(file);
    if (!hash) {
      walk.unreadable(file, hash.error().what);
      continue;
    }
    if (!contents.insert(*hash).second) {
      ++walk.found.copies;
      continue;
    }
    walk.found.pictures.push_back({file, file.lexically_relative(card), std::move(*hash)});
  }
  if (walk.found.pictures.empty()) {
    return fail(card_error(card, "holds no pictures", "check the path"));
  }
  return std::move(walk.found);
}

}  // namespace seamwright
