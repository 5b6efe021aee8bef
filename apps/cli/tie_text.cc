#include "apps/cli/tie_text.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <optional>
#include <sstream>

#include <fmt/format.h>

#include "apps/cli/number_text.h"
#include "base/enum_names.h"
#include "templates/choice_names.h"

namespace seamwright {

namespace {

constexpr std::string_view kForm = "write e.g. --tie \"0:1893.5,1010 1:104,1004.5 far sigma=0.5\"";

tl::unexpected<Error> refuse(const std::string& text, std::string what,
                             std::string remedy = std::string(kForm)) {
  return fail({.kind = ErrorKind::user_input,
               .where = {},
               .field = fmt::format("--tie \"{}\"", text),
               .what = std::move(what),
               .remedy = std::move(remedy)});
}

// "LENS:U,V"; the lens number is not yet compared with the body's.
std::optional<ManualSight> sight_of(std::string_view word) {
  const auto colon = word.find(':');
  const auto comma = word.find(',');
  if (colon == std::string_view::npos || comma == std::string_view::npos || comma < colon) {
    return std::nullopt;
  }
  const std::string_view lens = word.substr(0, colon);
  ManualSight sight;
  const auto [end, code] = std::from_chars(lens.data(), lens.data() + lens.size(), sight.lens);
  const auto u = number_of(word.substr(colon + 1, comma - colon - 1));
  const auto v = number_of(word.substr(comma + 1));
  if (code != std::errc{} || end != lens.data() + lens.size() || !u || !v) return std::nullopt;
  sight.px = Vec2(*u, *v);
  return sight;
}

std::optional<Error> check_sight(const ManualTie& tie, const ManualSight& sight,
                                 const std::string& text, int lens_count) {
  if (sight.lens < 0 || sight.lens >= lens_count) {
    return refuse(text, fmt::format("there is no lens {}", sight.lens),
                  fmt::format("the body has lenses 0 to {}", lens_count - 1))
        .value();
  }
  const bool twice =
      std::any_of(tie.sights.begin(), tie.sights.end(),
                  [&](const ManualSight& other) { return other.lens == sight.lens; });
  if (!twice) return std::nullopt;
  return refuse(text, fmt::format("lens {} sees this tie twice", sight.lens),
                "give one sight a lens")
      .value();
}

}  // namespace

Result<ManualTie> parse_tie(const std::string& text, int lens_count) {
  ManualTie tie;
  std::istringstream words(text);
  for (std::string word; words >> word;) {
    if (const auto range = enum_of<TieRange>(kRangeNames, word)) {
      tie.range = *range;
    } else if (word.starts_with("sigma=")) {
      const auto sigma_px = number_of(std::string_view(word).substr(6));
      if (!sigma_px || !(*sigma_px > 0) || *sigma_px > 1000) {
        return refuse(text, fmt::format("'{}' is no spread in pixels", word), "write sigma=0.5");
      }
      tie.sigma_px = *sigma_px;
    } else if (const auto sight = sight_of(word)) {
      if (auto error = check_sight(tie, *sight, text, lens_count)) return fail(std::move(*error));
      tie.sights.push_back(*sight);
    } else {
      return refuse(text,
                    fmt::format("'{}' is neither LENS:U,V nor near, far, open or sigma=", word));
    }
  }
  if (tie.sights.size() < 2) {
    return refuse(text, fmt::format("holds {} sight{}, a tie needs two", tie.sights.size(),
                                    tie.sights.size() == 1 ? "" : "s"));
  }
  return tie;
}

}  // namespace seamwright
