#include "apps/cli/check_inputs.h"

#include <algorithm>
#include <cctype>
#include <cstddef>
#include <set>
#include <string_view>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "apps/cli/shot_input.h"
#include "base/file.h"
#include "imaging/metadata.h"
#include "jobs/brackets/frame_list.h"
#include "jobs/brackets/grouping.h"
#include "templates/shot_file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr auto npos = std::string::npos;

CheckInput failed_input(const std::string& name, const Error& error) {
  CheckInput input;
  input.name = name;
  input.failure = error;
  return input;
}

/// Files of the arguments: those named, and what lies in folders; each once.
class Found {
 public:
  std::vector<fs::path> shot_files;
  std::vector<fs::path> pictures;
  std::vector<CheckInput> failed;  ///< arguments that hold nothing

  void look_into(const fs::path& argument) {
    std::error_code code;
    if (is_shot_file(argument)) return add(argument, shot_files);
    if (!fs::exists(argument, code)) {
      return add_failed(argument, {.kind = ErrorKind::user_input,
                                   .where = argument.string(),
                                   .field = {},
                                   .what = "no such file or folder",
                                   .remedy = "check the path"});
    }
    if (!fs::is_directory(argument, code)) return add(argument, pictures);
    const std::size_t before = shot_files.size();
    for (fs::directory_iterator at(argument, code), end; !code && at != end; at.increment(code)) {
      if (is_shot_file(at->path())) add(at->path(), shot_files);
    }
    const auto inside = pictures_in(argument);
    if (inside) {
      for (const fs::path& picture : *inside) add(picture, pictures);
    } else if (shot_files.size() == before) {
      add_failed(argument, inside.error());
    }
  }

 private:
  void add(const fs::path& file, std::vector<fs::path>& list) {
    std::error_code code;
    const fs::path canonical = fs::weakly_canonical(file, code);
    if (seen_.insert(code ? file : canonical).second) list.push_back(file);
  }
  void add_failed(const fs::path& argument, const Error& error) {
    failed.push_back(failed_input(argument.string(), error));
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

CheckInput from_shot_file(const fs::path& file, Taken& taken) {
  const auto shot = read_shot_file(file);
  if (!shot) {
    if (auto text = read_file(file)) taken.broken_texts.push_back(std::move(*text));
    CheckInput broken = failed_input(file.filename().string(), shot.error());
    broken.shot_file = file;
    return broken;
  }
  CheckInput input{
      .name = file.filename().string(), .shot_file = file, .frames = {}, .intake = shot->intake};
  std::error_code code;
  const auto take = [&](const fs::path& frame) {
    taken.frames.insert(fs::weakly_canonical(beside_shot_file(file, frame), code));
  };
  for (const fs::path& frame : shot->frames) {
    input.frames.push_back(beside_shot_file(file, frame));
    take(frame);
  }
  for (const auto& bracket : shot->brackets) {
    for (const BracketFrame& frame : bracket) {
      take(frame.file);
      input.exposures.push_back(beside_shot_file(file, frame.file));
    }
  }
  return input;
}

/// The middle exposure of each lens. `one_holds_all`: a file of its own may hold all lenses side by
/// side.
Result<CheckInput> from_group(const std::vector<ListedFrame>& frames, const BracketShot& shot,
                              int lens_count, bool one_holds_all) {
  CheckInput input{.name = shot.name, .frames = {}, .intake = {.lens_count = lens_count}};
  for (const BracketSeries& series : shot.lenses) {
    const BracketStep& step = series.steps[(series.steps.size() - 1) / 2];
    input.frames.push_back(frames[step.members.front().frame].file);
    if (series.frame_count() == 1) continue;
    for (const BracketStep& any : series.steps) {
      for (const BracketMember& member : any.members) {
        input.exposures.push_back(frames[member.frame].file);
      }
    }
  }
  if (input.frames.size() == 1 && lens_count > 1 && one_holds_all) {
    input.intake.layout = FrameLayout::side_by_side;
  } else if (static_cast<int>(input.frames.size()) != lens_count) {
    return fail(
        {.kind = ErrorKind::user_input,
         .where = shot.name,
         .field = "lenses",
         .what = fmt::format("{} of them for a body of {}", input.frames.size(), lens_count),
         .remedy =
             "tell shots and lenses apart by --pattern with groups (?<shot>...), (?<lens>...)"});
  }
  return input;
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

Result<void> add_loose(const std::vector<fs::path>& files, const GroupingOptions& grouping,
                       int lens_count, const Console& console, std::vector<CheckInput>& inputs) {
  const auto listing = list_readable_frames(files, console.progress());
  if (!listing) return tl::unexpected(listing.error());
  GroupingOptions options = grouping;
  options.lens_count = lens_count;
  const auto grouped = group_whole_shots(listing->frames, options, listing->unlisted);
  if (!grouped) return tl::unexpected(grouped.error());
  const bool one_holds_all = lone_files_are_whole(*listing, *grouped);
  for (const LeftOut& left : grouped->left_out) {
    inputs.push_back(failed_input(left.name, left.error));
  }
  for (const BracketShot& shot : grouped->shots) {
    auto input = from_group(listing->frames, shot, lens_count, one_holds_all);
    inputs.push_back(input ? std::move(*input) : failed_input(shot.name, input.error()));
  }
  return {};
}

}  // namespace

Result<std::vector<CheckInput>> check_inputs(const std::vector<std::string>& arguments,
                                             const GroupingOptions& grouping, int lens_count,
                                             const Console& console) {
  Found found;
  for (const std::string& argument : arguments) found.look_into(argument);
  std::sort(found.shot_files.begin(), found.shot_files.end());
  std::vector<CheckInput> inputs = std::move(found.failed);
  Taken taken;
  for (const fs::path& file : found.shot_files) inputs.push_back(from_shot_file(file, taken));
  std::vector<fs::path> loose;
  for (const fs::path& picture : found.pictures) {
    if (taken.holds(picture)) continue;
    const auto sphere = read_panorama_info(picture);
    if (sphere && *sphere) {
      inputs.push_back({.name = picture.filename().string(), .panorama = picture});
    } else {
      loose.push_back(picture);
    }
  }
  if (auto done = add_loose(loose, grouping, lens_count, console, inputs); !done) {
    return tl::unexpected(done.error());
  }
  return inputs;
}

std::optional<Error> nothing_left(const std::vector<CheckInput>& inputs) {
  const auto good = [](const CheckInput& input) { return !input.failure; };
  if (inputs.empty() || std::any_of(inputs.begin(), inputs.end(), good)) return std::nullopt;
  Error error = *inputs.front().failure;
  if (inputs.size() > 1) {
    error.what += fmt::format(", and {} more cannot be used", inputs.size() - 1);
  }
  return error;
}

}  // namespace seamwright
