// One Catch2 main for every test program. Catch2 prints its seed with `--rng-seed`; random tests
// take theirs from `seamwright::test::seed()` (support/random.h), which prints it on failure. Ends
// with 77 where nothing failed but something was skipped (support/skip.h).

#if defined(__GNUC__) && !defined(__clang__)
// GCC 12 sees uninitialised std::function members in <regex> once sanitizers change its inlining.
#pragma GCC diagnostic ignored "-Wmaybe-uninitialized"
#endif

#define CATCH_CONFIG_RUNNER
#include <cstdlib>
#include <iostream>
#include <string_view>

#include <catch2/catch.hpp>

#include "tests/support/skip.h"

namespace seamwright::test {

namespace {
int skipped = 0;
}  // namespace

void skip(const std::string& why) {
  const char* ci = std::getenv("CI");
  if (ci != nullptr && std::string_view(ci) == "true") FAIL("cannot run, as it must here: " << why);
  ++skipped;
  WARN("SKIPPED: " << why);
}

int skipped_cases() { return skipped; }

}  // namespace seamwright::test

int main(int argc, char* argv[]) {
  constexpr int kSkipped = 77;
  const int failed = Catch::Session().run(argc, argv);
  const int skipped = seamwright::test::skipped_cases();
  if (failed != 0 || skipped == 0) return failed;
  std::cout << skipped << " cases were skipped\n";
  return kSkipped;
}
