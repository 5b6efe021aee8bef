#include "jobs/shot/body_files.h"

#include <algorithm>
#include <set>
#include <utility>

#include "imaging/metadata.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// What EXIF calls the lens of each frame; empty where one has no name or two have the same.
std::vector<std::string> exif_lenses_of(const std::vector<fs::path>& frames) {
  std::vector<std::string> names;
  for (const fs::path& frame : frames) {
    const auto info = read_frame_info(frame);
    if (!info || info->lens_model.value_or("").empty()) return {};
    names.push_back(*info->lens_model);
  }
  const std::set<std::string> different(names.begin(), names.end());
  return different.size() == names.size() ? names : std::vector<std::string>{};
}

template <class T>
std::vector<T> in_order(std::vector<T> values, const std::vector<std::size_t>& order) {
  std::vector<T> ordered;
  for (const std::size_t from : order) ordered.push_back(std::move(values[from]));
  return ordered;
}

void order_lenses(ShotFiles& files, const std::vector<std::string>& lenses) {
  if (lenses.empty() || !files.shot_file.empty() || files.frames.size() != lenses.size() ||
      files.intake.layout != FrameLayout::one_per_file) {
    return;
  }
  const std::vector<std::string> named = exif_lenses_of(files.frames);
  if (named == lenses ||
      !std::is_permutation(named.begin(), named.end(), lenses.begin(), lenses.end())) {
    return;
  }
  std::vector<std::size_t> order;
  for (const std::string& lens : lenses) {
    order.push_back(
        static_cast<std::size_t>(std::find(named.begin(), named.end(), lens) - named.begin()));
  }
  files.frames = in_order(std::move(files.frames), order);
  if (!files.grouped) return;
  files.grouped->series.lenses = in_order(std::move(files.grouped->series.lenses), order);
}

}  // namespace

void take_body_files(ShotFiles& files, const RigTemplate& body) {
  const BodyFiles& told = body.files;
  FrameIntake& intake = files.intake;
  intake.mirrored = intake.mirrored || body.mirrored;
  const bool together = intake.layout != FrameLayout::one_per_file;
  if (together && told.layout && !files.layout_is_said && files.shot_file.empty() &&
      *told.layout != FrameLayout::one_per_file) {
    intake.layout = files.document.intake.layout = *told.layout;
  }
  if (intake.quarter_turns.empty()) intake.quarter_turns = told.quarter_turns;
  order_lenses(files, told.exif_lenses);
}

BodyFiles body_files_of(const std::vector<ShotFiles>& shots) {
  BodyFiles told;
  if (shots.empty()) return told;
  const FrameIntake& first = shots.front().intake;
  const auto all = [&](auto&& same) { return std::all_of(shots.begin(), shots.end(), same); };
  if (first.layout != FrameLayout::one_per_file &&
      all([&](const ShotFiles& shot) { return shot.intake.layout == first.layout; })) {
    told.layout = first.layout;
  }
  if (all([&](const ShotFiles& shot) {
        return shot.intake.quarter_turns == first.quarter_turns;
      })) {
    told.quarter_turns = first.quarter_turns;
  }
  if (first.layout != FrameLayout::one_per_file) return told;
  told.exif_lenses = exif_lenses_of(shots.front().frames);
  const auto same_lenses = [&](const ShotFiles& shot) {
    return exif_lenses_of(shot.frames) == told.exif_lenses;
  };
  if (!told.exif_lenses.empty() && !all(same_lenses)) told.exif_lenses.clear();
  return told;
}

}  // namespace seamwright
