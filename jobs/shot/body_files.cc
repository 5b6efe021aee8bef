#include "jobs/shot/body_files.h"

#include <algorithm>
#include <cctype>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "base/readable_text.h"
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

bool in_word(char c) { return std::isalnum(static_cast<unsigned char>(c)) != 0; }

bool has_word(const std::string& label, const std::string& word) {
  if (word.empty()) return false;
  for (std::size_t at = label.find(word); at != std::string::npos; at = label.find(word, at + 1)) {
    const std::size_t end = at + word.size();
    if ((at == 0 || !in_word(label[at - 1])) && (end == label.size() || !in_word(label[end]))) {
      return true;
    }
  }
  return false;
}

// What can stand in a template; anything else is no number.
std::string serial_text(const std::optional<std::string>& told) {
  const bool fine = told && told->size() <= 100 && find_broken_utf8(*told) == std::string::npos &&
                    printable_text(*told) == *told;
  return fine ? *told : std::string();
}

/// What the frames of one shot carry.
struct Serials {
  std::string body;                 // empty where one has none, or another one
  std::vector<std::string> lenses;  // one a frame, or empty

  bool operator==(const Serials&) const = default;
};

Serials serials_of(const ShotFiles& shot) {
  Serials serials;
  for (const fs::path& frame : shot.frames) {
    const auto info = read_frame_info(frame);
    const std::string body = info ? serial_text(info->body_serial) : "";
    if (frame == shot.frames.front()) serials.body = body;
    if (body != serials.body) serials.body.clear();
    serials.lenses.push_back(info ? serial_text(info->lens_serial) : "");
  }
  const auto& lenses = serials.lenses;
  const bool one_a_lens = shot.intake.layout == FrameLayout::one_per_file;
  if (!one_a_lens || std::find(lenses.begin(), lenses.end(), "") != lenses.end()) {
    serials.lenses.clear();
  }
  return serials;
}

void add_serials(const std::vector<ShotFiles>& shots, BodyFiles& told) {
  const Serials first = serials_of(shots.front());
  told.body_serial = first.body;
  told.lens_serials = first.lenses;
  for (const ShotFiles& shot : shots) {
    const Serials other = serials_of(shot);
    if (other.body != first.body) told.body_serial.clear();
    if (other.lenses != first.lenses) told.lens_serials.clear();
  }
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

bool has_serial(const RigTemplate& body, const std::string& serial) {
  if (serial.empty()) return false;
  const std::string& own = body.files.body_serial;
  return own.empty() ? has_word(body.body, serial) : own == serial;
}

std::string other_serials(const BodyFiles& body, std::span<const Frame> frames) {
  if (frames.empty()) return {};
  const std::string serial = serial_text(frames.front().info.body_serial);
  if (!serial.empty() && !body.body_serial.empty() && serial != body.body_serial) {
    return fmt::format("the frames come from body {}, the template was learned for body {}", serial,
                       body.body_serial);
  }
  for (std::size_t i = 0; i < std::min(frames.size(), body.lens_serials.size()); ++i) {
    const std::string lens = serial_text(frames[i].info.lens_serial);
    if (lens.empty() || lens == body.lens_serials[i]) continue;
    return fmt::format("the frame of lens {} comes from lens {}, the template was learned with {}",
                       i, lens, body.lens_serials[i]);
  }
  return {};
}

BodyFiles body_files_of(const std::vector<ShotFiles>& shots) {
  BodyFiles told;
  if (shots.empty()) return told;
  add_serials(shots, told);
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
