#pragma once

// A case that cannot run is not green: it fails where everything must be at hand (CI=true), and
// elsewhere the whole test program ends with 77, which ctest reports as skipped.

#include <string>

namespace seamwright::test {

/// Tells why a case cannot run here; the case then returns:
///
///   if (!tool_is_there) return skip("the tool is not installed");
void skip(const std::string& why);

/// How many cases were skipped so far.
[[nodiscard]] int skipped_cases();

}  // namespace seamwright::test
