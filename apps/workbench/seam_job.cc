#include "apps/workbench/seam_job.h"

#include <algorithm>
#include <cstddef>

#include "compose/render/seam_plan.h"

namespace seamwright::workbench {

namespace {

using nlohmann::json;

// The seam as places on the desk's own ribbon, with the inverse distance under each.
json pair_result(const Desk& desk, const PairSeam& pair) {
  constexpr int kPlaces = 720;
  json line = json::array();
  for (std::size_t i = 0; i < desk.pairs().size(); ++i) {
    const PairOverlap& shown = desk.pairs()[i];
    if (shown.lens_a != pair.lens_a || shown.lens_b != pair.lens_b) continue;
    const RibbonGrid& grid = pair.warp.grid;
    for (int k = 0; k < kPlaces; ++k) {
      const double x = (k + 0.5) * grid.width_px / kPlaces;
      const double y = pair.path.row_at(x);
      const int row = std::clamp(static_cast<int>(y), 0, grid.height_px - 1);
      const int column = std::clamp(static_cast<int>(x), 0, grid.width_px - 1);
      const Vec2 at = shown.grid.position(grid.direction({x, y}));
      line.push_back(
          {at.x(), at.y(), pair.warp.inverse_m.row<float>(row)[static_cast<std::size_t>(column)]});
    }
    return {{"pair", i}, {"line", std::move(line)}};
  }
  return nullptr;
}

}  // namespace

SeamJob::~SeamJob() { cancel(); }

void SeamJob::cancel() {
  const std::lock_guard lock(starting_);
  stop_running();
}

void SeamJob::stop_running() {
  stop_ = true;
  if (thread_.joinable()) thread_.join();
}

int SeamJob::start(SeamTask task) {
  const std::lock_guard starting(starting_);
  stop_running();
  stop_ = false;
  {
    const std::lock_guard lock(mutex_);
    ++number_;
    state_ = "working";
    stage_.clear();
    fraction_ = 0;
    result_ = nullptr;
  }
  thread_ = std::thread([this, task = std::move(task)] { run(task); });
  const std::lock_guard lock(mutex_);
  return number_;
}

void SeamJob::run(const SeamTask& task) {
  SeamOptions options{.strokes = task.strokes};
  for (const ManualTie& tie : task.ties) options.ties.push_back(tie.as_tie(0));
  const auto plan =
      plan_seams(task.rig, task.desk->frames(), options, [this](const Progress& progress) {
        const std::lock_guard lock(mutex_);
        stage_ = progress.stage;
        fraction_ = progress.fraction;
        return !stop_;
      });
  json pairs = json::array();
  if (plan) {
    for (const PairSeam& pair : plan->pairs) {
      json found = pair_result(*task.desk, pair);
      if (!found.is_null()) pairs.push_back(std::move(found));
    }
  }
  const std::lock_guard lock(mutex_);
  if (plan) {
    state_ = "done";
    result_ = {{"pairs", std::move(pairs)}};
  } else {
    const bool stopped = plan.error().kind == ErrorKind::cancelled;
    state_ = stopped ? "cancelled" : "failed";
    if (!stopped) result_ = {{"error", plan.error().line()}};
  }
}

json SeamJob::status() const {
  const std::lock_guard lock(mutex_);
  return {{"job", number_},
          {"state", state_},
          {"stage", stage_},
          {"fraction", fraction_},
          {"result", result_}};
}

}  // namespace seamwright::workbench
