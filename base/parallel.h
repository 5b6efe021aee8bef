#pragma once

#include <functional>
#include <memory>

namespace seamwright {

/// Calls body(i) for every i in [begin, end) on the machine's cores and returns when all are done.
/// Each call must write only what belongs to its own i: results are then the same whatever the
/// thread count. An exception in a body is rethrown here.
void parallel_for(int begin, int end, const std::function<void(int)>& body);

/// Caps the threads that parallel_for uses while it lives; 0 means all cores.
class ThreadLimit {
 public:
  explicit ThreadLimit(int threads);

 private:
  std::shared_ptr<void> control_;
};

}  // namespace seamwright
