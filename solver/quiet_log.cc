#include "solver/quiet_log.h"

#include <mutex>

#include <glog/logging.h>

namespace seamwright {

namespace {

// glog's level is the process's: the first scope lowers its voice, the last one gives it back.
struct QuietScopes {
  std::mutex mutex;
  int open = 0;
  int level_before = 0;
};

QuietScopes& quiet_scopes() {
  static QuietScopes scopes;
  return scopes;
}

}  // namespace

QuietLog::QuietLog() {
  QuietScopes& scopes = quiet_scopes();
  const std::lock_guard lock(scopes.mutex);
  if (scopes.open++ > 0) return;
  scopes.level_before = FLAGS_minloglevel;
  FLAGS_minloglevel = google::GLOG_FATAL;
}

QuietLog::~QuietLog() {
  QuietScopes& scopes = quiet_scopes();
  const std::lock_guard lock(scopes.mutex);
  if (--scopes.open == 0) FLAGS_minloglevel = scopes.level_before;
}

}  // namespace seamwright
