#pragma once

// What is wrong with each shot of the list (jobs/check/shot_check.h), found one after the other
// beside the person's edits. Shots are judged by what their files hold, not by edits that are not
// saved.

#include <atomic>
#include <condition_variable>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include <nlohmann/json.hpp>

#include "apps/workbench/desk.h"
#include "base/progress.h"
#include "jobs/check/findings.h"

namespace seamwright::workbench {

/// What was found of one shot.
struct CheckedShot {
  ShotFindings found;
  std::string failure;  ///< one line where it could not be checked
  std::string picture;  ///< JPEG of the worst place, or of what lens 0 looks at
};

/// Thread-safe.
class CheckJob {
 public:
  CheckJob(std::vector<ShotEntry> shots, OpenShotFn open_shot)
      : shots_(std::move(shots)), open_shot_(std::move(open_shot)) {}
  CheckJob(const CheckJob&) = delete;
  CheckJob& operator=(const CheckJob&) = delete;
  ~CheckJob();

  /// Checks what is not known yet; goes on where it runs already.
  void start();
  /// Returns at once; what is being done stops at its next step.
  void cancel();
  /// What a shot's file holds has changed.
  void forget(int shot);

  /// {"state": "idle|working|done|cancelled", "shot", "name", "stage", "checked", "count"}; "shot"
  /// is the one being checked, null while none is.
  [[nodiscard]] nlohmann::json status() const;
  /// Waits until the status is not number `seen` any more, or `most_ms` have passed; gives the
  /// number of what status() then says.
  [[nodiscard]] int wait(int seen, int most_ms) const;
  /// {"score_px", "findings": [{"kind", "words", "remedy"}], "failure"}; null: not checked.
  [[nodiscard]] nlohmann::json result(int shot) const;
  /// Empty: none.
  [[nodiscard]] std::string picture(int shot) const;
  /// All shots: what could not be checked, then worst first, then what was not checked, by number.
  [[nodiscard]] std::vector<int> order() const;

 private:
  void run();
  [[nodiscard]] std::optional<int> next();
  void put(int shot, CheckedShot checked);
  bool tell(const Progress& progress);

  const std::vector<ShotEntry> shots_;
  const OpenShotFn open_shot_;
  std::mutex starting_;  // held while the thread is stopped or begun
  std::thread thread_;
  std::atomic<bool> stop_ = false;
  mutable std::mutex mutex_;  // of what follows
  mutable std::condition_variable changed_;
  int change_ = 0;
  std::string state_ = "idle";
  std::string stage_;
  int at_ = -1;         // the shot being checked
  bool stale_ = false;  // it was forgotten meanwhile
  std::map<int, CheckedShot> results_;
};

/// One shot by itself: the body with the touch that its shot file holds. Fails where told to stop
/// only; what else goes wrong is the shot's failure.
[[nodiscard]] Result<CheckedShot> checked(const ShotEntry& entry, const OpenShotFn& open_shot,
                                          const ProgressFn& progress);

}  // namespace seamwright::workbench
