#include "jobs/brackets/frame_pattern.h"

#include <algorithm>
#include <array>
#include <string_view>

#include <fmt/format.h>

namespace seamwright {
namespace {

constexpr std::array<std::string_view, 4> kGroups = {"shot", "lens", "ev", "frame"};

Error pattern_error(const std::string& pattern, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = {},
          .field = fmt::format("pattern '{}'", pattern),
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

/// The pattern as the standard library takes it, with the names put aside.
struct Bare {
  std::string expression;
  std::vector<std::string> names;
};

// Walks over escapes and character sets, where a parenthesis is none.
Bare without_names(std::string_view pattern) {
  Bare bare;
  bool in_set = false;
  for (std::size_t i = 0; i < pattern.size(); ++i) {
    const char c = pattern[i];
    bare.expression += c;
    if (c == '\\' && i + 1 < pattern.size()) {
      bare.expression += pattern[++i];
    } else if (c == '[') {
      in_set = true;
    } else if (c == ']') {
      in_set = false;
    } else if (c == '(' && !in_set) {
      const std::string_view rest = pattern.substr(i + 1);
      const bool named = rest.starts_with("?<") && !rest.starts_with("?<=") &&
                         !rest.starts_with("?<!") && rest.find('>') != std::string_view::npos;
      if (named) {
        const std::size_t end = rest.find('>');
        bare.names.emplace_back(rest.substr(2, end - 2));
        i += end + 1;
      } else if (!rest.starts_with("?")) {
        bare.names.emplace_back();
      }
    }
  }
  return bare;
}

}  // namespace

Result<FramePattern> FramePattern::parse(const std::string& pattern) {
  Bare bare = without_names(pattern);
  bool any = false;
  for (const std::string& name : bare.names) {
    if (name.empty()) continue;
    any = true;
    if (std::find(kGroups.begin(), kGroups.end(), name) == kGroups.end()) {
      return fail(pattern_error(pattern, fmt::format("there is no group '{}'", name),
                                "the groups are shot, lens, ev and frame"));
    }
    if (std::count(bare.names.begin(), bare.names.end(), name) > 1) {
      return fail(pattern_error(pattern, fmt::format("holds the group '{}' twice", name),
                                "name each group once"));
    }
  }
  if (!any) {
    return fail(pattern_error(pattern, "has no named group",
                              "write for example (?<shot>.+)_(?<ev>[-+]?[0-9]+)\\.tif"));
  }
  FramePattern result;
  try {
    result.expression_ = std::regex(bare.expression, std::regex::ECMAScript);
  } catch (const std::regex_error&) {
    return fail(pattern_error(pattern, "is not a regular expression",
                              "close its brackets and escape its special characters with \\"));
  }
  result.text_ = pattern;
  result.names_ = std::move(bare.names);
  return result;
}

std::map<std::string, std::string> FramePattern::match(const std::string& file_name) const {
  std::smatch found;
  std::map<std::string, std::string> groups;
  try {
    if (!std::regex_match(file_name, found, expression_)) return groups;
  } catch (const std::regex_error&) {
    return groups;  // too complex for this name
  }
  for (std::size_t i = 0; i < names_.size(); ++i) {
    if (!names_[i].empty()) groups[names_[i]] = found[i + 1].str();
  }
  return groups;
}

bool FramePattern::has(const std::string& group) const {
  return std::find(names_.begin(), names_.end(), group) != names_.end();
}

}  // namespace seamwright
