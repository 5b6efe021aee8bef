#pragma once

#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "jobs/check/shot_check.h"

namespace seamwright {

/// One shot or panorama as it was checked; `shot` is empty for panoramas and for what failed.
struct Checked {
  ShotFindings found;
  std::optional<ShotCheck> shot = {};
  std::string failure = {};                ///< why it could not be checked, one line; else empty
  std::vector<std::string> pictures = {};  ///< one a finding (check_page.h), or none at all
};

/// Checked, and without a finding.
[[nodiscard]] bool nothing_wrong(const Checked& one);

/// Worst first: what failed, then by score, then by name.
void rank(std::vector<Checked>& all);

/// A table of all, worst first, and the reasons of the worst: about one screen.
void tell_checked(const Console& console, const std::vector<Checked>& all);
[[nodiscard]] nlohmann::json checked_as_json(const std::vector<Checked>& all);

}  // namespace seamwright
