#pragma once

// What learning a body found, as one page that a photographer reads: no script, nothing fetched.

#include <filesystem>
#include <string>

#include "apps/report/first_look.h"
#include "base/result.h"
#include "jobs/learning/learn.h"

namespace seamwright {

/// The page's HTML, well-formed as XML too. The same outcome gives the same bytes.
[[nodiscard]] std::string learn_page(const LearnOutcome& outcome, const FirstLook& look = {});

/// Writes it as DIR/report.html, making DIR where it is missing. Fails when it cannot be written.
[[nodiscard]] Result<void> write_learn_page(const std::filesystem::path& dir,
                                            const LearnOutcome& outcome,
                                            const FirstLook& look = {});

/// Fails, in one line, when report.html could not be written there: asked before long work. Makes
/// DIR where it is missing.
[[nodiscard]] Result<void> check_report_folder(const std::filesystem::path& dir);

}  // namespace seamwright
