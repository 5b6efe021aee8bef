#include "jobs/shot/shot.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

#include "base/file.h"
#include "base/parallel.h"
#include "imaging/convert.h"
#include "jobs/brackets/merge_shot.h"
#include "jobs/shot/shot_key.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Result<ShotPictures> merged_pictures(const Shot& shot, const ProgressFn& progress) {
  auto brackets = brackets_of(shot.files, progress);
  if (!brackets) return tl::unexpected(brackets.error());
  auto merged = merge_shot(brackets->frames, brackets->series, shot.wishes.merge, progress);
  if (!merged) return tl::unexpected(merged.error());
  ShotPictures pictures;
  pictures.is_light = true;
  pictures.brackets = std::move(*brackets);
  std::vector<Frame> by_file;
  for (MergedFrame& one : *merged) {
    pictures.merges.push_back(std::move(one.report));
    by_file.push_back(std::move(one.frame));
  }
  auto frames = arrange_shot(std::move(by_file), shot.files.intake);
  if (!frames) return tl::unexpected(frames.error());
  pictures.frames = std::move(*frames);
  return pictures;
}

// The exposures of each frame, as a shot file at another place than the shot's own names them.
Result<std::vector<std::vector<BracketFrame>>> brackets_seen_from(const ShotFiles& files,
                                                                  const fs::path& shot_file) {
  std::vector<std::vector<BracketFrame>> brackets;
  const auto add = [&](const fs::path& file, std::optional<double> ev) -> Result<void> {
    auto relative = seen_from_shot_file(file, shot_file);
    if (!relative) return tl::unexpected(relative.error());
    brackets.back().push_back({std::move(*relative), ev});
    return {};
  };
  for (const auto& bracket : files.document.brackets) {
    brackets.emplace_back();
    for (const BracketFrame& frame : bracket) {
      const auto done = add(beside_shot_file(files.shot_file, frame.file), frame.ev);
      if (!done) return tl::unexpected(done.error());
    }
  }
  if (!files.grouped) return brackets;
  for (const BracketSeries& series : files.grouped->series.lenses) {
    brackets.emplace_back();
    for (const BracketStep& step : series.steps) {
      for (const BracketMember& member : step.members) {
        const auto done = add(files.grouped->frames[member.frame].file, std::nullopt);
        if (!done) return tl::unexpected(done.error());
      }
    }
  }
  return brackets;
}

// Of frames that are light already, as `merge` and raw files give them, some by their profile.
bool codes_are_light(const TransferCurve& curve) {
  constexpr float kMiddle = 0.5F;
  return std::abs(curve.to_linear(kMiddle, 0) - kMiddle) < 0.001F;
}

// SHA-256 of each file, side by side: one file after the other takes longer than reading them.
Result<std::vector<std::string>> hashes_of(const std::vector<fs::path>& files) {
  std::vector<std::string> hashes(files.size());
  std::vector<std::optional<Error>> errors(files.size());
  parallel_for(0, static_cast<int>(files.size()), [&](int file) {
    const auto i = static_cast<std::size_t>(file);
    if (auto hash = sha256_of_file(files[i])) {
      hashes[i] = std::move(*hash);
    } else {
      errors[i] = std::move(hash.error());
    }
  });
  for (std::optional<Error>& error : errors) {
    if (error) return fail(std::move(*error));
  }
  return hashes;
}

Result<ShotPictures> single_pictures(const Shot& shot) {
  auto frames = read_shot(shot.files.frames, shot.files.intake);
  if (!frames) return tl::unexpected(frames.error());
  ShotPictures pictures;
  pictures.frames = std::move(*frames);
  return pictures;
}

}  // namespace

RigTemplate Shot::touched_template() const {
  RigTemplate touched = body.rig_template;
  touched.solution.rig = rig;
  return touched;
}

Result<ShotPictures> read_pictures(const Shot& shot, Exposures exposures,
                                   const ProgressFn& progress) {
  const bool merge = exposures == Exposures::all && shot.files.bracketed();
  auto pictures = merge ? merged_pictures(shot, progress) : single_pictures(shot);
  if (!pictures) return pictures;
  if (const auto shape = panorama_shape(shot.rig, pictures->frames, {}); !shape) {
    return tl::unexpected(shape.error());
  }
  auto transfer = TransferCurve::of(pictures->frames.front().image);
  if (!transfer) return tl::unexpected(transfer.error());
  pictures->transfer = std::move(*transfer);
  if (exposures == Exposures::all && !pictures->is_light && codes_are_light(pictures->transfer)) {
    pictures->is_light = true;
    for (Frame& frame : pictures->frames) frame.image = to_type(frame.image, SampleType::f32);
  }
  const Image& first = pictures->frames.front().image;
  pictures->rig = shot.rig.scaled_to(first.width(), first.height());
  return pictures;
}

GainMatch gains_of(const ShotPictures& pictures) {
  return match_gains(pictures.rig, pictures.frames, pictures.transfer);
}

SeamOptions seam_options_of(const Shot& shot, const Quat& turned_from_rig) {
  SeamOptions options{.strokes = shot.edits().seam};
  options.gain_match = shot.wishes.gain_match;
  for (const ManualTie& tie : shot.edits().manual_ties) options.ties.push_back(tie.as_tie(0));
  if (turned_from_rig.isApprox(Quat::Identity(), 0)) return options;
  for (SeamStroke& stroke : options.strokes) {
    for (PanoramaPlace& place : stroke.path) place = place_of(turned_from_rig * place.direction());
  }
  return options;
}

Result<ShotFile> document_at(const Shot& shot, const fs::path& shot_file) {
  ShotFile document = shot.edits();
  if (shot.files.shot_file != shot_file) {
    document.frames.clear();
    for (const fs::path& frame : shot.files.frames) {
      auto relative = seen_from_shot_file(frame, shot_file);
      if (!relative) return tl::unexpected(relative.error());
      document.frames.push_back(std::move(*relative));
    }
    auto brackets = brackets_seen_from(shot.files, shot_file);
    if (!brackets) return tl::unexpected(brackets.error());
    document.brackets = std::move(*brackets);
  }
  auto body = seen_from_shot_file(shot.body.file, shot_file);
  if (!body) return tl::unexpected(body.error());
  document.rig_template = TemplateReference{std::move(*body), shot.body.sha256};
  return document;
}

Result<MadeFrom> provenance_of(const Shot& shot) {
  MadeFrom made{.program = "Seamwright " SEAMWRIGHT_VERSION,
                .template_sha256 = shot.body.sha256,
                .files = {}};
  const std::vector<fs::path> files = shot.files.all();
  auto hashes = hashes_of(files);
  if (!hashes) return tl::unexpected(hashes.error());
  for (std::size_t i = 0; i < files.size(); ++i) {
    made.files.push_back({files[i].filename().string(), std::move((*hashes)[i])});
  }
  std::stable_sort(made.files.begin(), made.files.end(),
                   [](const MadeFromFile& a, const MadeFromFile& b) { return a.name < b.name; });
  return made;
}

Result<std::string> content_hash_of(const Shot& shot) {
  std::string text = shot_key_text(shot.files, shot.wishes) + shot.body.sha256 + "\n";
  std::vector<fs::path> files = shot.files.all();
  if (!shot.wishes.cover.plate.empty()) files.push_back(shot.wishes.cover.plate);
  const auto hashes = hashes_of(files);
  if (!hashes) return tl::unexpected(hashes.error());
  for (std::size_t i = 0; i < files.size(); ++i) {
    text += (*hashes)[i] + " " + files[i].filename().string() + "\n";
  }
  return sha256(text);
}

}  // namespace seamwright
