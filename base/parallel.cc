#include "base/parallel.h"

#include <tbb/global_control.h>
#include <tbb/parallel_for.h>

namespace seamwright {

void parallel_for(int begin, int end, const std::function<void(int)>& body) {
  tbb::parallel_for(begin, end, body, tbb::simple_partitioner{});
}

ThreadLimit::ThreadLimit(int threads) {
  if (threads <= 0) return;
  control_ = std::make_shared<tbb::global_control>(tbb::global_control::max_allowed_parallelism,
                                                   static_cast<std::size_t>(threads));
}

}  // namespace seamwright
