#include "apps/cli/touch_many.h"

#include <memory>
#include <string>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/readable_text.h"
#include "jobs/restitch/open_run.h"
#include "jobs/shot/touch_shot.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

/// Goes through the shots, and keeps what is to be told at the end.
class TouchRun {
 public:
  TouchRun(const TouchManyOptions& options, const Console& console)
      : options_(options), console_(console) {}

  // What the command line says of frames; a shot file says it of its own.
  void take_intake(ShotFiles& files) const {
    if (!files.shot_file.empty()) return;
    const ShotRequest& said = options_.intake;
    FrameIntake& intake = files.intake;
    intake.mirrored = intake.mirrored || said.mirrored;
    if (!said.quarter_turns.empty()) intake.quarter_turns = said.quarter_turns;
    if (said.layout && intake.layout != FrameLayout::one_per_file) {
      intake.layout = *said.layout;
      files.layout_is_said = true;
    }
    files.document.intake = intake;
  }

  Result<void> of_order(RestitchOrder order) {
    const Restitch run(std::move(order));
    for (const ArchiveItem& item : run.items()) {
      if (auto done = one(run, item); !done) return done;
    }
    return {};
  }

  Result<void> failed(const std::string& name, const Error& error) {
    if (error.kind == ErrorKind::cancelled) return tl::unexpected(error);
    const std::string why = console_.in_words(error.line());
    console_.say(fmt::format("{}: failed: {}", name, why));
    shots_.push_back({{"name", readable_text(name)}, {"state", "failed"}, {"why", why}});
    ++failed_;
    return {};
  }

  [[nodiscard]] int count() const { return static_cast<int>(shots_.size()); }
  [[nodiscard]] bool all_failed() const { return failed_ > 0 && failed_ == count(); }
  [[nodiscard]] bool is_well() const { return failed_ == 0 && found_ == 0; }

  void tell_all() const {
    console_.say(fmt::format("{} touched, {} fit as they are, {} left as they are, {} failed",
                             touched_, count() - touched_ - left_ - failed_, left_, failed_));
    if (console_.json()) console_.answer({{"command", "touch"}, {"shots", shots_}});
  }

 private:
  Result<void> one(const Restitch& run, const ArchiveItem& item) {
    if (item.failure) return failed(item.name, *item.failure);
    const auto shot = run.open(item.name, OldTouch::where_it_fits);
    if (!shot) return failed(item.name, shot.error());
    const auto need =
        touch_where_needed(*shot, place_of_touch(shot->files, item.name), console_.progress());
    if (!need) return failed(item.name, need.error());
    tell(item.name, *need, shot->files.shot_file.empty());
    return {};
  }

  void tell(const std::string& name, const TouchNeed& need, bool is_new) {
    constexpr const char* kStates[] = {"fits", "left", "touched"};
    const std::string findings =
        need.findings.empty()
            ? std::string()
            : fmt::format("; finding: {}", fmt::join(console_.in_words(need.findings), "; "));
    switch (need.done) {
      case TouchNeed::Done::fits:
        console_.say(name + ": fits as it is" + findings);
        break;
      case TouchNeed::Done::left:
        console_.say(name + ": left as it is" + findings);
        ++left_;
        break;
      case TouchNeed::Done::touched:
        console_.say(fmt::format("{}: touched: {}; {} {}{}", name, cause_of(need),
                                 need.shot_file.string(), is_new ? "written" : "updated",
                                 findings));
        ++touched_;
        break;
    }
    if (!need.findings.empty()) ++found_;
    shots_.push_back({{"name", readable_text(name)},
                      {"state", kStates[static_cast<std::size_t>(need.done)]},
                      {"fit", name_of(need.fit.verdict)},
                      {"findings", console_.in_words(need.findings)}});
    if (need.done == TouchNeed::Done::touched) {
      shots_.back()["shot_file"] = readable_text(need.shot_file.string());
    }
  }

  static std::string cause_of(const TouchNeed& need) {
    return need.fit.verdict == FitVerdict::knocked ? need.fit.words
                                                   : "its touch was made for another template";
  }

  const TouchManyOptions& options_;
  const Console& console_;
  nlohmann::json shots_ = nlohmann::json::array();
  int touched_ = 0;
  int left_ = 0;
  int failed_ = 0;
  int found_ = 0;
};

std::optional<Error> check_template(const TouchManyOptions& options, const SplitInputs& split) {
  if (options.templates.empty() || !split.rest.empty()) return std::nullopt;
  return Error{.kind = ErrorKind::user_input,
               .where = split.run_files.front().string(),
               .field = "--template",
               .what = "is said by the run file",
               .remedy = "say it there"};
}

}  // namespace

Result<Outcome> touch_many(const TouchManyOptions& options, const Console& console) {
  const SplitInputs split = split_inputs(options.inputs);
  if (auto error = check_template(options, split)) return fail(std::move(*error));
  TouchRun run(options, console);
  const auto take = [&](const std::string& name, Result<RestitchOrder> order) -> Result<void> {
    // One bad place of several is one line; alone it is the command's error.
    const bool alone = options.inputs.size() == 1;
    if (!order && alone) return tl::unexpected(order.error());
    if (!order) return run.failed(name, order.error());
    if (auto error = nothing_left(order->shots); error && alone) return fail(std::move(*error));
    return run.of_order(std::move(*order));
  };
  for (const fs::path& file : split.run_files) {
    if (auto done = take(file.string(), open_run_file(file, console.progress())); !done) {
      return tl::unexpected(done.error());
    }
  }
  if (!split.rest.empty()) {
    auto order = open_run({.shots = split.rest, .templates = options.templates, .out = {}},
                          console.progress());
    // A template that cannot be read is of all shots.
    if (!order) return tl::unexpected(order.error());
    for (ListedShot& shot : order->shots) run.take_intake(shot.files);
    if (auto done = take({}, std::move(order)); !done) return tl::unexpected(done.error());
  }
  if (run.count() == 0) {
    return fail({.kind = ErrorKind::user_input,
                 .where = options.inputs.front().string(),
                 .field = {},
                 .what = "holds no shot",
                 .remedy = "give frames, shot files, folders of them, or a run file"});
  }
  run.tell_all();
  if (run.all_failed()) return Outcome::user_error;
  return run.is_well() ? Outcome::done : Outcome::findings;
}

}  // namespace seamwright
