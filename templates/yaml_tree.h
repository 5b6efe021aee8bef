#pragma once

// A YAML document as a plain tree that remembers its line numbers. Less than YAML: no anchors, no
// aliases, no tags, one document, no key twice, text in UTF-8. What is left is all a file for
// people needs, and a hostile file cannot make it grow beyond its own size.

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// Files for people are far smaller; anything larger is a wrong path.
inline constexpr std::size_t kYamlLimitBytes = std::size_t{4} << 20U;

struct YamlValue {
  enum class Kind : unsigned char { nothing, scalar, list, map };

  Kind kind = Kind::nothing;
  int line = 1;                       ///< 1-based; of the key when this is an entry of a map
  bool quoted = false;                ///< scalar: stood in quotes, so it is text
  std::string key{};                  ///< set when this is an entry of a map
  std::string text{};                 ///< scalar
  std::vector<YamlValue> children{};  ///< list: elements; map: entries, in the file's order

  /// Entry of a map; null when there is none.
  [[nodiscard]] const YamlValue* find(std::string_view name) const;
};

/// `name` stands for the file in errors ("name:line").
[[nodiscard]] Result<YamlValue> parse_yaml(std::string_view yaml, const std::string& name);

/// Text taken from a file, made fit for a one-line message: quoted, cut to 40 bytes, control
/// characters and broken UTF-8 replaced by '?'.
[[nodiscard]] std::string shown(std::string_view text);

}  // namespace seamwright
