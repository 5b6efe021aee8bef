#pragma once

// What the quick tests of a run's shots (jobs/shot/shot_fit.h) say together: one cause that many
// shots share is the body's or the template's, and is said once.

#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/shot/shot_fit.h"

namespace seamwright {

/// No shot of the run fits, all for one cause.
struct SharedRefusal {
  Misfit cause = Misfit::none;
  std::string words;  ///< one line, without the remedy
  std::string remedy;
};

/// From some time on all shots lean a lens in the same way.
struct SharedKnock {
  std::string since;        ///< EXIF time of the first; empty where the frames tell none
  bool from_first = false;  ///< no shot of the run is from before
  int lens = 0;
  double knock_deg = 0;            ///< mean
  std::vector<std::string> shots;  ///< their items' names, in the order of their times
  std::string words;               ///< one line
};

/// The quick tests of one run. May be told from several threads.
class DayFit {
 public:
  void take(const std::string& item, const ShotFit& fit);

  /// What the test said of a shot; empty where it was not tested in this run.
  [[nodiscard]] std::optional<ShotFit> of(const std::string& item) const;
  /// From two shots on, of at least two.
  [[nodiscard]] std::optional<SharedRefusal> shared_refusal() const;
  /// From two shots on whose turns are alike to 0.1 degrees, or a third of the turn.
  [[nodiscard]] std::optional<SharedKnock> shared_knock() const;

 private:
  mutable std::mutex mutex_;
  std::map<std::string, ShotFit> fits_;  // by item
};

}  // namespace seamwright
