#pragma once

// The head every file of ours begins with, and the choice of the reader for its version.
//
//   format: seamwright-template
//   version: 1

#include <string>
#include <string_view>

#include <fmt/format.h>

#include "templates/strict_map.h"

namespace seamwright {

/// Reads the whole document of one version into today's value type; may throw Refused.
template <class T>
struct VersionReader {
  int version;
  T (*read)(const StrictValue& document);
};

/// The version of a document of the given format, ≥ 1; throws Refused when it is not one.
[[nodiscard]] int read_head(const StrictValue& document, std::string_view format);

/// Checks `format`, then picks the reader. `readers` are in the order of their versions, the
/// newest last; a newer file is refused politely, before any of its keys can look wrong.
template <class T, class Readers>
Result<T> parse_versioned(std::string_view yaml, const std::string& name, std::string_view format,
                          const Readers& readers) {
  const Result<YamlValue> tree = parse_yaml(yaml, name);
  if (!tree) return tl::unexpected(tree.error());
  return strictly([&]() -> T {
    const StrictValue document(*tree, name, "");
    const int version = read_head(document, format);
    for (const auto& reader : readers) {
      if (reader.version == version) return reader.read(document);
    }
    const int newest = readers.back().version;
    const StrictValue at(*tree->find("version"), name, "version");
    at.refuse(fmt::format("{} is newer than this program understands ({})", version, newest),
              "a newer version of this program wrote it: update the program");
  });
}

}  // namespace seamwright
