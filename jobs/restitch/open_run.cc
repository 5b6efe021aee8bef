#include "jobs/restitch/open_run.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// The place of a template; one that is not there yet is read.
Result<std::size_t> body_at(const fs::path& file, std::vector<BodyTemplate>& templates) {
  const auto known = std::find_if(templates.begin(), templates.end(),
                                  [&](const BodyTemplate& body) { return body.file == file; });
  if (known != templates.end()) return static_cast<std::size_t>(known - templates.begin());
  auto body = read_body_template(file);
  if (!body) return tl::unexpected(body.error());
  templates.push_back(std::move(*body));
  return templates.size() - 1;
}

bool is_single(const NamedShot& shot) {
  return std::all_of(shot.files.begin(), shot.files.end(),
                     [](const auto& lens) { return lens.size() == 1; });
}

Result<ShotFiles> requested(const NamedShot& shot, std::vector<fs::path> files, int lens_count,
                            const GroupingOptions& grouping, const ProgressFn& progress) {
  ShotRequest request{.files = std::move(files),
                      .layout = shot.layout,
                      .quarter_turns = shot.quarter_turns,
                      .several_exposures = shot.files.empty(),
                      .grouping = grouping};
  request.grouping.allow_missing = true;
  return find_shot_files(request, lens_count, progress);
}

// Series that the run file writes down.
Result<ShotFiles> written_brackets(const NamedShot& shot, int lens_count,
                                   const ProgressFn& progress) {
  std::vector<fs::path> all;
  for (const auto& lens : shot.files) all.insert(all.end(), lens.begin(), lens.end());
  const auto listed = list_frames(all, progress);
  if (!listed) return tl::unexpected(listed.error());
  BracketShot group{.name = shot.name.name, .lenses = {}};
  std::size_t at = 0;
  for (const auto& lens : shot.files) {
    std::vector<WrittenFrame> written;
    for (std::size_t i = 0; i < lens.size(); ++i) written.push_back({.frame = at++});
    auto series = written_series(*listed, written);
    if (!series) return tl::unexpected(series.error());
    group.lenses.push_back(std::move(*series));
  }
  const auto lenses = static_cast<int>(group.lenses.size());
  if (lenses != 1 && lenses != lens_count) {
    return fail({.kind = ErrorKind::user_input,
                 .where = shot.name.name,
                 .field = "files",
                 .what = fmt::format("{} lenses for a body of {}", lenses, lens_count),
                 .remedy = "give one list of exposures a lens"});
  }
  auto files = files_of_group(*listed, group,
                              {.layout = shot.layout.value_or(FrameLayout::one_per_file),
                               .lens_count = lens_count,
                               .quarter_turns = shot.quarter_turns});
  files.layout_is_said = shot.layout.has_value();
  return files;
}

Result<ShotFiles> files_of(const NamedShot& shot, int lens_count, const GroupingOptions& grouping,
                           const ProgressFn& progress) {
  if (shot.files.empty()) return requested(shot, {shot.folder}, lens_count, grouping, progress);
  if (!is_single(shot)) return written_brackets(shot, lens_count, progress);
  std::vector<fs::path> files;
  for (const auto& lens : shot.files) files.push_back(lens.front());
  return requested(shot, std::move(files), lens_count, grouping, progress);
}

int usual_lens_count(const RestitchOrder& order) {
  return order.templates.empty() ? 2 : order.templates.front().rig_template.rig().lens_count();
}

// With its own template, which is put into the order.
Result<ShotFiles> found_files(const NamedShot& shot, const RunRequest& request,
                              RestitchOrder& order, const ProgressFn& progress) {
  int lens_count = usual_lens_count(order);
  if (!shot.rig_template.empty()) {
    const auto at = body_at(shot.rig_template, order.own_templates);
    if (!at) return tl::unexpected(at.error());
    order.body_of.emplace(shot.name.name, *at);
    lens_count = order.own_templates[*at].rig_template.rig().lens_count();
  }
  return files_of(shot, lens_count, request.grouping, progress);
}

// A shot that is of no use is in the order all the same.
Result<void> add_named(const NamedShot& shot, const RunRequest& request, RestitchOrder& order,
                       const ProgressFn& progress) {
  ListedShot listed{.name = shot.name.name};
  auto files = found_files(shot, request, order, progress);
  if (!files && files.error().kind == ErrorKind::cancelled) return tl::unexpected(files.error());
  if (files) {
    listed.files = std::move(*files);
    listed.files.name = listed.name;
  } else {
    listed.failure = files.error();
  }
  order.exceptions.emplace(listed.name, shot.wishes);
  order.parts.emplace(listed.name, shot.name);
  order.shots.push_back(std::move(listed));
  return {};
}

}  // namespace

SplitInputs split_inputs(const std::vector<fs::path>& inputs) {
  SplitInputs split;
  for (const fs::path& input : inputs) {
    (is_run_file(input) ? split.run_files : split.rest).push_back(input);
  }
  return split;
}

Result<RestitchOrder> open_run_file(const fs::path& run_file, const ProgressFn& progress) {
  const auto request = read_run_request(run_file);
  if (!request) return tl::unexpected(request.error());
  return open_run(*request, progress);
}

Result<RestitchOrder> open_run(const RunRequest& request, const ProgressFn& progress) {
  if (auto error = request.delivery.validate()) return fail(std::move(*error));
  RestitchOrder order{.shots = {},
                      .templates = {},
                      .wishes = request.wishes,
                      .grouping = request.grouping,
                      .jpeg = request.jpeg,
                      .out = request.out,
                      .delivery = request.delivery};
  for (const fs::path& file : request.templates) {
    if (auto body = body_at(file, order.templates); !body) return tl::unexpected(body.error());
  }
  auto shots = list_shots(request.shots, request.grouping, usual_lens_count(order), progress);
  if (!shots) return tl::unexpected(shots.error());
  order.shots = std::move(*shots);
  for (const NamedShot& shot : request.named) {
    if (auto done = add_named(shot, request, order, progress); !done) {
      return tl::unexpected(done.error());
    }
  }
  return order;
}

}  // namespace seamwright
