// One Catch2 main for every test program. Catch2 prints its seed with `--rng-seed`; random tests
// take theirs from `seamwright::test::seed()` (support/random.h), which prints it on failure.

#if defined(__GNUC__) && !defined(__clang__)
// GCC 12 sees uninitialised std::function members in <regex> once sanitizers change its inlining.
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#endif

#define CATCH_CONFIG_MAIN
#include <catch2/catch.hpp>
