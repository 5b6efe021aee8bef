#include "jobs/restitch/bracket_inputs.h"

#include <iterator>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "jobs/restitch/open_run.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

class Gatherer {
 public:
  explicit Gatherer(const ProgressFn& progress) : progress_(progress) {}

  Result<void> group(const std::vector<fs::path>& loose, const GroupingOptions& grouping) {
    auto listing = list_readable_frames(loose, progress_);
    if (!listing) return tl::unexpected(listing.error());
    auto grouped = group_whole_shots(listing->frames, grouping, listing->unlisted);
    if (!grouped) return tl::unexpected(grouped.error());
    for (const ListedFrame& frame : listing->frames) found_.looked_at.push_back(frame.file);
    for (const UnlistedFrame& frame : listing->unlisted) found_.looked_at.push_back(frame.file);
    for (LeftOut& left : grouped->left_out) found_.left_out.push_back(std::move(left));
    take(std::move(listing->frames), std::move(grouped->shots));
    return {};
  }

  Result<void> add_shot(const std::string& name, const Result<ShotFiles>& files) {
    if (!files) return leave_out(name, files.error());
    for (const fs::path& picture : files->pictures()) found_.looked_at.push_back(picture);
    if (!files->bracketed()) {
      ++found_.single;
      return {};
    }
    auto brackets = brackets_of(*files, progress_);
    if (!brackets) return leave_out(name, brackets.error());
    brackets->series.name = name;
    for (BracketSeries& series : brackets->series.lenses) {
      const std::size_t first = series.steps.front().members.front().frame;
      if (series.lens.empty()) {
        series.lens = brackets->frames[first].info.lens_model.value_or("");
      }
    }
    take(std::move(brackets->frames), {std::move(brackets->series)});
    return {};
  }

  Result<void> add_run(const fs::path& run_file) {
    const auto order = open_run_file(run_file, progress_);
    if (!order) return leave_out(run_file.string(), order.error());
    for (const ListedShot& shot : order->shots) {
      if (!shot.panorama.empty()) continue;
      auto done =
          shot.failure ? leave_out(shot.name, *shot.failure) : add_shot(shot.stem(), shot.files);
      if (!done) return done;
    }
    return {};
  }

  BracketInputs found() && { return std::move(found_); }

 private:
  Result<void> leave_out(const std::string& name, const Error& error) {
    if (error.kind == ErrorKind::cancelled) return tl::unexpected(error);
    found_.left_out.push_back({.name = name, .frame = {}, .shot_known = true, .error = error});
    return {};
  }

  void take(std::vector<ListedFrame> frames, std::vector<BracketShot> shots) {
    const std::size_t first = found_.frames.size();
    found_.frames.insert(found_.frames.end(), std::make_move_iterator(frames.begin()),
                         std::make_move_iterator(frames.end()));
    for (BracketShot& shot : shots) {
      for (BracketSeries& series : shot.lenses) {
        for (BracketStep& step : series.steps) {
          for (BracketMember& member : step.members) member.frame += first;
        }
      }
      if (names_.insert(shot.name).second) {
        found_.shots.push_back(std::move(shot));
        continue;
      }
      found_.left_out.push_back({.name = shot.name,
                                 .frame = {},
                                 .shot_known = true,
                                 .error = {.kind = ErrorKind::user_input,
                                           .where = shot.name,
                                           .field = "name",
                                           .what = "two shots have this name",
                                           .remedy = "merge them into different folders"}});
    }
  }

  const ProgressFn& progress_;
  BracketInputs found_;
  std::set<std::string> names_;
};

}  // namespace

Result<BracketInputs> find_brackets(const std::vector<fs::path>& inputs,
                                    const GroupingOptions& grouping, const ProgressFn& progress) {
  if (auto error = grouping.validate()) return fail(std::move(*error));
  const SplitInputs split = split_inputs(inputs);
  std::vector<fs::path> loose;
  std::vector<fs::path> shot_files;
  for (const fs::path& input : split.rest) {
    (is_shot_file(input) ? shot_files : loose).push_back(input);
  }
  Gatherer gatherer(progress);
  if (!loose.empty()) {
    if (auto done = gatherer.group(loose, grouping); !done) return tl::unexpected(done.error());
  }
  for (const fs::path& file : shot_files) {
    const std::string name = shot_name_of(file);
    if (auto done = gatherer.add_shot(name, read_shot_files(file)); !done) {
      return tl::unexpected(done.error());
    }
  }
  for (const fs::path& file : split.run_files) {
    if (auto done = gatherer.add_run(file); !done) return tl::unexpected(done.error());
  }
  return std::move(gatherer).found();
}

}  // namespace seamwright
