#pragma once

// A file's values one by one: every scalar on a line of its own, so that one can be changed and the
// line that an error must name is known.

#include <functional>
#include <string>

#include <fmt/format.h>

#include "templates/yaml_text.h"
#include "templates/yaml_tree.h"

namespace seamwright::test {

inline void put_yaml(const YamlValue& value, int depth, std::string& text) {
  const std::string indent(static_cast<std::size_t>(2 * depth), ' ');
  const bool list = value.kind == YamlValue::Kind::list;
  if (value.kind == YamlValue::Kind::scalar) {
    text += fmt::format(" {}\n", value.quoted ? quoted_text(value.text) : value.text);
    return;
  }
  if (value.children.empty()) {
    text += list ? " []\n" : " {}\n";
    return;
  }
  if (depth > 0) text += '\n';
  for (const YamlValue& child : value.children) {
    text += indent + (list ? std::string("-") : child.key + ':');
    put_yaml(child, depth + 1, text);
  }
}

[[nodiscard]] inline std::string yaml_of(const YamlValue& document) {
  std::string text;
  put_yaml(document, 0, text);
  return text;
}

/// Calls `visit` with each scalar that stands there without quotes and begins like a number. The
/// tree may be changed while it is away.
inline void for_each_number(YamlValue& value, const std::function<void(YamlValue&)>& visit) {
  if (value.kind == YamlValue::Kind::scalar) {
    const bool number = !value.quoted && !value.text.empty() &&
                        (value.text[0] == '-' || (value.text[0] >= '0' && value.text[0] <= '9'));
    if (number) visit(value);
    return;
  }
  for (YamlValue& child : value.children) for_each_number(child, visit);
}

}  // namespace seamwright::test
