// One Catch2 main for every test program. Catch2 prints its seed with `--rng-seed`; random tests
// take theirs from `seamwright::test::seed()` (support/random.h), which prints it on failure.
#define CATCH_CONFIG_MAIN
#include <catch2/catch.hpp>
