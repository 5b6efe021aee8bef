#include "jobs/shot/shot_list.h"

#include <algorithm>
#include <cctype>
#include <cstddef>
#include <iterator>
#include <set>
#include <string_view>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "base/file_guard.h"
#include "imaging/metadata.h"
#include "jobs/brackets/frame_list.h"
#include "jobs/brackets/grouping.h"
#include "jobs/shot/named_frames.h"
#include "templates/shot_file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr auto npos = std::string::npos;

/// Files of the places: those named, and what lies in folders; each once.
class Found {
 public:
  std::vector<fs::path> shot_files;
  std::vector<fs::path> pictures;
  std::vector<ListedShot> failed;  ///< places that hold nothing

  void look_into(const fs::path& place) {
    std::error_code code;
    if (is_shot_file(place)) return add(place, shot_files);
    if (!fs::exists(place, code)) {
      return add_failed(place, {.kind = ErrorKind::user_input,
                                .where = place.string(),
                                .field = {},
                                .what = "no such file or folder",
                                .remedy = "check the path"});
    }
    if (!fs::is_directory(place, code)) return add(place, pictures);
    const std::size_t before = shot_files.size();
    for (fs::directory_iterator at(place, code), end; !code && at != end; at.increment(code)) {
      if (is_shot_file(at->path())) add(at->path(), shot_files);
    }
    const auto inside = pictures_in(place);
    if (inside) {
      for (const fs::path& picture : *inside) add(picture, pictures);
    } else if (shot_files.size() == before) {
      add_failed(place, inside.error());
    }
  }

 private:
  void add(const fs::path& file, std::vector<fs::path>& list) {
    std::error_code code;
    const fs::path canonical = fs::weakly_canonical(file, code);
    if (seen_.insert(code ? file : canonical).second) list.push_back(file);
  }
  void add_failed(const fs::path& place, const Error& error) {
    failed.push_back(failed_shot(place.string(), error));
  }

  std::set<fs::path> seen_;
};

bool names_file(const std::string& text, const std::string& name) {
  const auto ends_name = [&](std::size_t at) {
    const auto c = static_cast<unsigned char>(text[at]);
    return std::isalnum(c) == 0 && c < 0x80 && std::string_view("_-.").find(text[at]) == npos;
  };
  for (auto at = text.find(name); at != npos; at = text.find(name, at + 1)) {
    const std::size_t end = at + name.size();
    if ((at == 0 || ends_name(at - 1)) && (end == text.size() || ends_name(end))) return true;
  }
  return false;
}

/// Frames that shot files name, and what broken ones say: they may name frames too.
struct Taken {
  std::set<fs::path> frames;
  std::vector<std::string> broken_texts;

  [[nodiscard]] bool holds(const fs::path& picture) const {
    std::error_code code;
    if (frames.contains(fs::weakly_canonical(picture, code))) return true;
    const std::string name = picture.filename().string();
    return std::any_of(broken_texts.begin(), broken_texts.end(),
                       [&](const std::string& text) { return names_file(text, name); });
  }
};

ListedShot from_shot_file(const fs::path& file, Taken& taken) {
  auto files = read_shot_files(file);
  if (!files) {
    if (auto text = read_file(file)) taken.broken_texts.push_back(std::move(*text));
    ListedShot broken = failed_shot(file.filename().string(), files.error());
    broken.files.shot_file = file;
    return broken;
  }
  std::error_code code;
  for (const fs::path& frame : files->frames)
    taken.frames.insert(fs::weakly_canonical(frame, code));
  for (const fs::path& frame : files->pictures()) {
    taken.frames.insert(fs::weakly_canonical(frame, code));
  }
  return {.name = file.filename().string(), .files = std::move(*files)};
}

/// `one_holds_all`: a file of its own may hold all lenses side by side.
Result<ListedShot> from_group(const std::vector<ListedFrame>& frames, const BracketShot& shot,
                              int lens_count, bool one_holds_all) {
  const auto lenses = static_cast<int>(shot.lenses.size());
  const bool together = lenses == 1 && lens_count > 1 && one_holds_all;
  if (!together && lenses != lens_count) {
    return fail({.kind = ErrorKind::user_input,
                 .where = shot.name,
                 .field = "lenses",
                 .what = fmt::format("{} of them for a body of {}", lenses, lens_count),
                 .remedy = "tell shots and lenses apart by 'pattern' with groups (?<shot>...), "
                           "(?<lens>...)"});
  }
  return ListedShot{.name = shot.name,
                    .files = files_of_group(frames, shot, {.lens_count = lens_count})};
}

// A file that is alone in its shot holds all lenses, or the others were left out. Nothing tells but
// whether there are more such shots than frames of their size that stay without one.
bool lone_files_are_whole(const FrameListing& listing, const WholeShots& grouped) {
  const ListedFrame* lone = nullptr;
  std::ptrdiff_t lone_count = 0;
  for (const BracketShot& shot : grouped.shots) {
    if (shot.lenses.size() != 1) continue;
    lone = &listing.frames[shot.lenses.front().steps.front().members.front().frame];
    ++lone_count;
  }
  if (lone == nullptr) return false;
  const auto may_belong = [&](const LeftOut& left) {
    if (left.shot_known) return false;
    const auto listed =
        std::find_if(listing.frames.begin(), listing.frames.end(),
                     [&](const ListedFrame& frame) { return frame.file == left.frame; });
    return listed == listing.frames.end() ||
           (listed->width_px == lone->width_px && listed->height_px == lone->height_px);
  };
  return lone_count > std::count_if(grouped.left_out.begin(), grouped.left_out.end(), may_belong);
}

Error lacks_frames(const NamedFrames& frames, int lens_count) {
  const auto count = static_cast<int>(frames.size());
  return {.kind = ErrorKind::user_input,
          .where = frames.begin()->second.string(),
          .field = "lenses",
          .what = count < lens_count
                      ? fmt::format("{} is missing beside it", missing_name(frames))
                      : fmt::format("the names tell {} lenses, the body has {}", count, lens_count),
          .remedy = "add the frame, or a shot file that names all of them"};
}

ListedShot from_names(const std::string& name, const NamedFrames& frames, int lens_count) {
  ListedShot shot{.name = name};
  shot.files.name = name;
  shot.files.intake.lens_count = lens_count;
  shot.files.document.intake = shot.files.intake;
  for (const auto& [lens, file] : frames) shot.files.frames.push_back(file);
  return shot;
}

/// What names alone tell.
struct ByName {
  std::vector<ListedShot> shots;
  std::vector<ListedShot> incomplete;
};

// Whether EXIF leaves it to the name of a frame which shot and lens it is of. Numbers count only
// where no time is told: they may be of exposures.
bool name_must_tell(const ListedFrame& frame) {
  if (frame.info.lens_model.value_or("").empty() && names_lens_by_word(frame.file)) return true;
  return !frame.info.taken_at;
}

// Takes out of the list what names tell. What lies there and could not be listed is not missing.
ByName take_by_name(std::vector<ListedFrame>& listed, int lens_count) {
  std::vector<fs::path> files;
  for (const ListedFrame& frame : listed) {
    if (name_must_tell(frame)) files.push_back(frame.file);
  }
  ByName found;
  std::set<fs::path> taken;
  for (const auto& [place, frames] : frames_by_name(files)) {
    const fs::path& first = frames.begin()->second;
    const bool whole = is_whole(frames, lens_count);
    std::error_code code;
    if (!whole && fs::exists(first.parent_path() / missing_name(frames), code)) continue;
    for (const auto& [lens, file] : frames) taken.insert(file);
    if (whole) {
      found.shots.push_back(from_names(place.filename().string(), frames, lens_count));
    } else {
      found.incomplete.push_back(
          failed_shot(first.filename().string(), lacks_frames(frames, lens_count)));
    }
  }
  std::erase_if(listed, [&](const ListedFrame& frame) { return taken.contains(frame.file); });
  return found;
}

bool tells_all(const FrameInfo& info) {
  return info.taken_at && !info.lens_model.value_or("").empty();
}

// Frames that are so wide or high hold several circles.
bool holds_one_circle(const ListedFrame& frame, int lens_count) {
  const double shape = static_cast<double>(frame.width_px) / frame.height_px;
  return lens_count == 1 || std::max(shape, 1 / shape) <= 0.8 * lens_count;
}

// Whether neither EXIF nor names tell which lens each of these frames is of: then their order does.
bool order_must_tell(const FrameListing& listing, int lens_count) {
  const auto& frames = listing.frames;
  std::vector<fs::path> files;
  for (const ListedFrame& frame : frames) files.push_back(frame.file);
  const auto named = frames_by_name(files);
  return listing.unlisted.empty() && static_cast<int>(frames.size()) == lens_count &&
         !std::all_of(frames.begin(), frames.end(),
                      [](const ListedFrame& frame) { return tells_all(frame.info); }) &&
         std::all_of(frames.begin(), frames.end(),
                     [&](const ListedFrame& frame) {
                       return holds_one_circle(frame, lens_count) &&
                              !names_lens_by_word(frame.file);
                     }) &&
         std::none_of(named.begin(), named.end(),
                      [&](const auto& shot) { return is_whole(shot.second, lens_count); });
}

/// Pictures that are neither panoramas nor of a shot file.
struct Loose {
  std::vector<fs::path> files;
  bool in_order = false;  ///< somebody named these files, and nothing else
};

Result<std::vector<ListedShot>> group_loose(FrameListing& listing, const GroupingOptions& grouping,
                                            int lens_count) {
  std::vector<ListedShot> shots;
  const ByName by_name = grouping.pattern || grouping.frames_per_shot > 0
                             ? ByName{}
                             : take_by_name(listing.frames, lens_count);
  GroupingOptions options = grouping;
  options.lens_count = lens_count;
  const auto grouped = group_whole_shots(listing.frames, options, listing.unlisted);
  if (!grouped) return tl::unexpected(grouped.error());
  const bool one_holds_all = lone_files_are_whole(listing, *grouped);
  for (const LeftOut& left : grouped->left_out) {
    shots.push_back(failed_shot(left.name, left.error));
  }
  for (const BracketShot& group : grouped->shots) {
    auto shot = from_group(listing.frames, group, lens_count, one_holds_all);
    shots.push_back(shot ? std::move(*shot) : failed_shot(group.name, shot.error()));
  }
  shots.insert(shots.end(), by_name.incomplete.begin(), by_name.incomplete.end());
  shots.insert(shots.end(), by_name.shots.begin(), by_name.shots.end());
  return shots;
}

Result<void> add_loose(const Loose& loose, const GroupingOptions& grouping, int lens_count,
                       const ProgressFn& progress, std::vector<ListedShot>& shots) {
  auto listing = list_readable_frames(loose.files, progress);
  if (!listing) return tl::unexpected(listing.error());
  if (loose.in_order && !grouping.pattern && order_must_tell(*listing, lens_count)) {
    auto files = find_shot_files({.files = loose.files}, lens_count);
    if (!files) return tl::unexpected(files.error());
    shots.push_back({.name = files->name, .files = std::move(*files)});
    return {};
  }
  auto found = group_loose(*listing, grouping, lens_count);
  if (!found) return tl::unexpected(found.error());
  shots.insert(shots.end(), std::make_move_iterator(found->begin()),
               std::make_move_iterator(found->end()));
  return {};
}

// What is listed is read sooner or later: nothing may be written over it.
void tell_guard(const std::vector<ListedShot>& shots) {
  for (const ListedShot& shot : shots) {
    for (const fs::path& file : shot.files.frames) note_read(file);
    for (const fs::path& file : shot.files.all()) note_read(file);
    note_read(shot.panorama);
  }
}

}  // namespace

std::string ListedShot::stem() const {
  std::string stem = name;
  for (const std::string_view ending : {".shot.yaml", ".shot.yml"}) {
    if (stem.ends_with(ending)) stem.erase(stem.size() - ending.size());
  }
  std::replace_if(
      stem.begin(), stem.end(), [](char c) { return c == '/' || c == '\\' || c == ':'; }, '_');
  return stem;
}

ListedShot failed_shot(const std::string& name, const Error& error) {
  ListedShot shot;
  shot.name = name;
  shot.failure = error;
  return shot;
}

Result<std::vector<ListedShot>> list_shots(const std::vector<fs::path>& files_and_folders,
                                           const GroupingOptions& grouping, int lens_count,
                                           const ProgressFn& progress) {
  Found found;
  for (const fs::path& place : files_and_folders) found.look_into(place);
  std::sort(found.shot_files.begin(), found.shot_files.end());
  std::vector<ListedShot> shots = std::move(found.failed);
  Taken taken;
  for (const fs::path& file : found.shot_files) shots.push_back(from_shot_file(file, taken));
  Loose loose;
  for (const fs::path& picture : found.pictures) {
    if (taken.holds(picture)) continue;
    if (says_panorama(picture)) {
      shots.push_back({.name = picture.filename().string(), .panorama = picture});
    } else {
      loose.files.push_back(picture);
    }
  }
  loose.in_order = loose.files == files_and_folders;
  if (auto done = add_loose(loose, grouping, lens_count, progress, shots); !done) {
    return tl::unexpected(done.error());
  }
  tell_guard(shots);
  return shots;
}

std::optional<Error> nothing_left(const std::vector<ListedShot>& shots) {
  const auto good = [](const ListedShot& shot) { return !shot.failure; };
  if (shots.empty() || std::any_of(shots.begin(), shots.end(), good)) return std::nullopt;
  Error error = *shots.front().failure;
  if (shots.size() > 1) {
    error.what += fmt::format(", and {} more cannot be used", shots.size() - 1);
  }
  return error;
}

}  // namespace seamwright
