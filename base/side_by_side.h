#pragma once

#include <functional>

namespace seamwright {

/// The threads that parallel_for() may use here.
[[nodiscard]] int threads_to_use();

/// Calls body(i) for every i in [begin, end), begun in this order, `at_once` of them side by side,
/// and returns when all are done. Each has its share of the threads for its parallel_for(). With
/// one at a time all is done by the caller's own thread. An exception in a body is rethrown here,
/// after those that had begun.
void side_by_side(int begin, int end, int at_once, const std::function<void(int)>& body);

}  // namespace seamwright
