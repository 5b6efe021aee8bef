#include "base/side_by_side.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

#include <tbb/global_control.h>
#include <tbb/task_arena.h>

namespace seamwright {

int threads_to_use() {
  const auto most = tbb::global_control::active_value(tbb::global_control::max_allowed_parallelism);
  return std::max(1, static_cast<int>(most));
}

void side_by_side(int begin, int end, int at_once, const std::function<void(int)>& body) {
  const int workers = std::min(at_once, end - begin);
  if (workers <= 1) {
    for (int i = begin; i < end; ++i) body(i);
    return;
  }
  std::atomic<int> next = begin;
  std::mutex mutex;
  std::exception_ptr thrown;
  const auto work = [&] {
    tbb::task_arena arena(std::max(1, threads_to_use() / workers));
    for (int i = next++; i < end; i = next++) {
      try {
        arena.execute([&] { body(i); });
      } catch (...) {
        const std::scoped_lock lock(mutex);
        if (!thrown) thrown = std::current_exception();
        next = end;
      }
    }
  };
  {
    std::vector<std::jthread> threads;
    for (int worker = 0; worker < workers; ++worker) threads.emplace_back(work);
  }
  if (thrown) std::rethrow_exception(thrown);
}

}  // namespace seamwright
