#pragma once

// ceres::TinySolver. GCC 12 takes members that its Init() sets for uninitialised where it inlines
// it.

#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#include <ceres/tiny_solver.h>
#pragma GCC diagnostic pop
#else
#include <ceres/tiny_solver.h>
#endif
