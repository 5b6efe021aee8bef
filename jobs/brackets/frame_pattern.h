#pragma once

#include <map>
#include <regex>
#include <string>
#include <vector>

#include "base/result.h"

namespace seamwright {

/// A regular expression (ECMAScript) over file names whose groups have names:
///
///   (?<shot>.+)_(?<lens>front|back)_(?<ev>[-+]\d+)\.tif
///
/// Groups: `shot` and `lens` tell which shot and lens a frame belongs to, `ev` its exposure in EV
/// against the others, `frame` is for numbers that mean nothing. Other names are refused.
class FramePattern {
 public:
  [[nodiscard]] static Result<FramePattern> parse(const std::string& pattern);

  /// Text of each named group where the whole name matches; empty where it does not.
  [[nodiscard]] std::map<std::string, std::string> match(const std::string& file_name) const;

  [[nodiscard]] const std::string& text() const { return text_; }
  [[nodiscard]] bool has(const std::string& group) const;

 private:
  std::string text_;
  std::regex expression_;
  std::vector<std::string> names_;  ///< of capturing groups in order; "" where unnamed
};

}  // namespace seamwright
