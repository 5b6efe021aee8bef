#pragma once

// Long work on a desk, one at a time, beside the person's edits: the dense depth of a shot as it
// stands and the seam's way through it. A newer one stops an older one.

#include <atomic>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <nlohmann/json.hpp>

#include "apps/workbench/desk.h"

namespace seamwright::workbench {

/// What the seam is found for.
struct SeamTask {
  std::shared_ptr<const Desk> desk;
  Rig rig;  ///< touched, at the frames' size
  std::vector<ManualTie> ties;
  std::vector<SeamStroke> strokes;
};

/// Thread-safe.
class SeamJob {
 public:
  SeamJob() = default;
  SeamJob(const SeamJob&) = delete;
  SeamJob& operator=(const SeamJob&) = delete;
  ~SeamJob();

  /// Stops what is running; returns the new job's number.
  int start(SeamTask task);
  void cancel();
  /// {"job", "state": "idle|working|done|failed|cancelled", "stage", "fraction", "result"}.
  [[nodiscard]] nlohmann::json status() const;

 private:
  void run(const SeamTask& task);
  void stop_running();

  std::mutex starting_;  // held while the thread is stopped or begun
  std::thread thread_;
  mutable std::mutex mutex_;  // of what follows
  std::atomic<bool> stop_ = false;
  int number_ = 0;
  std::string state_ = "idle";
  std::string stage_;
  double fraction_ = 0;
  nlohmann::json result_;
};

}  // namespace seamwright::workbench
