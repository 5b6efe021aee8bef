#pragma once

namespace seamwright {

/// Keeps Ceres' log (glog) from standard error while it lives: a step that fails is part of a solve
/// and told by its result. Solves may overlap, on several threads.
class QuietLog {
 public:
  QuietLog();
  ~QuietLog();
  QuietLog(const QuietLog&) = delete;
  QuietLog& operator=(const QuietLog&) = delete;
};

}  // namespace seamwright
