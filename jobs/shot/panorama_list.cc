#include "jobs/shot/panorama_list.h"

#include <algorithm>
#include <cctype>
#include <map>
#include <set>
#include <string>
#include <system_error>

#include "base/file_guard.h"
#include "base/lower_suffix.h"
#include "imaging/metadata.h"
#include "jobs/brackets/frame_list.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// TIFF holds the most, JPEG the least.
int rank_of(const fs::path& file) {
  const std::string ending = lower_suffix(file);
  if (ending == ".tif" || ending == ".tiff") return 0;
  return ending == ".jpg" || ending == ".jpeg" ? 2 : 1;
}

// What "hall-512.jpg" and "hall-light.tif" were made beside; empty for other names.
std::string base_of_companion(const fs::path& file) {
  const std::string stem = file.stem().string();
  const std::size_t cut = stem.rfind('-');
  if (cut == std::string::npos || cut == 0 || cut + 1 == stem.size()) return {};
  const std::string word = stem.substr(cut + 1);
  const bool width =
      rank_of(file) == 2 &&
      std::all_of(word.begin(), word.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
  return width || word == "light" ? stem.substr(0, cut) : std::string();
}

class Lister {
 public:
  void look_into(const fs::path& place) {
    std::error_code code;
    if (!fs::exists(place, code)) {
      list_.panoramas.push_back(failed_shot(place.string(), {.kind = ErrorKind::user_input,
                                                             .where = place.string(),
                                                             .field = {},
                                                             .what = "no such file or folder",
                                                             .remedy = "check the path"}));
    } else if (fs::is_directory(place, code)) {
      look_into_folder(place);
    } else {
      add(place);
    }
  }

  PanoramaList list() && { return std::move(list_); }

 private:
  void add(const fs::path& file) {
    std::error_code code;
    const fs::path canonical = fs::weakly_canonical(file, code);
    if (!seen_.insert(code ? file : canonical).second) return;
    note_read(file);
    ListedShot shot;
    shot.name = file.stem().string();
    shot.panorama = file;
    list_.panoramas.push_back(std::move(shot));
  }

  void look_into_folder(const fs::path& folder) {
    const auto pictures = pictures_in(folder);
    if (!pictures) return list_.panoramas.push_back(failed_shot(folder.string(), pictures.error()));
    std::map<std::string, std::vector<fs::path>> by_stem;
    for (const fs::path& picture : *pictures) {
      if (says_panorama(picture)) {
        by_stem[picture.stem().string()].push_back(picture);
      } else {
        ++list_.others;
      }
    }
    if (by_stem.empty()) {
      return list_.panoramas.push_back(
          failed_shot(folder.string(), {.kind = ErrorKind::user_input,
                                        .where = folder.string(),
                                        .field = {},
                                        .what = "holds no picture that says it is a panorama",
                                        .remedy = "name the files one by one"}));
    }
    for (auto& [stem, files] : by_stem) {
      std::stable_sort(files.begin(), files.end(), [](const fs::path& a, const fs::path& b) {
        return rank_of(a) < rank_of(b);
      });
      const bool companion = by_stem.contains(base_of_companion(files.front()));
      if (!companion) add(files.front());
      const auto rest = files.begin() + (companion ? 0 : 1);
      for (auto file = rest; file != files.end(); ++file) note_read(*file);
      list_.companions.insert(list_.companions.end(), rest, files.end());
    }
  }

  std::set<fs::path> seen_;
  PanoramaList list_;
};

}  // namespace

PanoramaList list_panoramas(const std::vector<fs::path>& files_and_folders) {
  Lister lister;
  for (const fs::path& place : files_and_folders) lister.look_into(place);
  return std::move(lister).list();
}

}  // namespace seamwright
