#pragma once

// Lets a test stand between the program and the system: it sees each call that changes a file, and
// says what comes of it. The program needs no seam for that: the test's own write(), fsync(),
// rename(), ftruncate() and flock() are the ones that are linked. (The C library's own buffered
// output does not pass here; ours does.)

#include <cstddef>
#include <functional>
#include <string>

namespace seamwright::test {

struct SystemCall {
  enum class Kind { write, fsync, rename, ftruncate, flock };
  Kind kind;
  std::string file;           ///< name of the file or folder, without its folder
  std::size_t write_bytes{};  ///< of a write
};

/// What comes of a call.
struct Fate {
  enum class Kind {
    passes,
    fails,        ///< no space left; of a write, `write_bytes` are written first
    kills,        ///< SIGKILL instead of the call; of a write, after `write_bytes`
    kills_after,  ///< SIGKILL once the call is done
  };
  Kind kind = Kind::passes;
  std::size_t write_bytes = 0;
};

/// One at a time, for this process. What the watch itself calls is not watched.
class WatchedCalls {
 public:
  using Watch = std::function<Fate(const SystemCall&)>;
  explicit WatchedCalls(Watch watch);
  WatchedCalls(const WatchedCalls&) = delete;
  WatchedCalls& operator=(const WatchedCalls&) = delete;
  ~WatchedCalls();
};

}  // namespace seamwright::test
