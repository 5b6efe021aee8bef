#pragma once

// Strict reading of a YAML map: every key known, every value of the right kind, every refusal with
// file, line, field and remedy. Inside this module a refusal travels as the exception `Refused`,
// so that readers can be written straight down; `strictly()` turns it into a Result at the border.

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "projection/conventions.h"
#include "templates/yaml_tree.h"

namespace seamwright {

struct Refused {
  Error error;
};

/// Runs `read()`, which may throw Refused.
template <class Read>
auto strictly(Read&& read) -> Result<decltype(read())> {
  try {
    return std::forward<Read>(read)();
  } catch (const Refused& refused) {
    return fail(refused.error);
  }
}

/// A value, and where it stands: in `file`, under the dotted name `field`.
class StrictValue {
 public:
  StrictValue(const YamlValue& value, std::string file, std::string field)
      : value_(&value), file_(std::move(file)), field_(std::move(field)) {}

  /// Finite, plain (not in quotes), within the range that number_ranges.h gives this field.
  [[nodiscard]] double number() const;
  [[nodiscard]] int whole(int least, int most) const;
  [[nodiscard]] bool flag() const;
  /// One line of text, at most 1000 bytes, not empty.
  [[nodiscard]] std::string text() const;
  /// One of `choices`; returns its index.
  [[nodiscard]] std::size_t choice(const std::vector<std::string_view>& choices) const;
  /// 64 hexadecimal digits in lower case.
  [[nodiscard]] std::string sha256() const;
  [[nodiscard]] std::vector<StrictValue> list() const;
  /// A list of exactly `count` numbers.
  [[nodiscard]] std::vector<double> numbers(std::size_t count) const;
  [[nodiscard]] Vec3 vector3() const;

  [[nodiscard]] const YamlValue& yaml() const { return *value_; }
  [[nodiscard]] const std::string& file() const { return file_; }
  [[nodiscard]] const std::string& field() const { return field_; }
  [[noreturn]] void refuse(std::string what, std::string remedy) const;

 private:
  [[nodiscard]] double finite_number() const;

  const YamlValue* value_;
  std::string file_;
  std::string field_;
};

/// A map whose keys are all among `keys`. A key with another unit at its end (focal_mm for
/// focal_px) is told apart from one that is simply unknown.
class StrictMap {
 public:
  StrictMap(const StrictValue& value, std::vector<std::string> keys);

  [[nodiscard]] bool has(std::string_view key) const;
  /// Refuses when the key is missing.
  [[nodiscard]] StrictValue at(std::string_view key) const;
  [[nodiscard]] const StrictValue& self() const { return self_; }

 private:
  [[nodiscard]] std::string path(std::string_view key) const;
  void check_key(const YamlValue& entry) const;

  StrictValue self_;
  std::vector<std::string> keys_;
};

}  // namespace seamwright
