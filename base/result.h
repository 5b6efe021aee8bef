#pragma once

// Recoverable failure, everywhere in seamwright: a function that can fail on bad input returns
// Result<T>; it never throws across a module border, never aborts and never prints. Programmer
// errors are asserts.

#include <string>
#include <string_view>

#include <tl/expected.hpp>

namespace seamwright {

enum class ErrorKind {
  user_input,  ///< the caller's data or options; the person can mend it
  io,          ///< the system refused: permission, space, a broken file
  numeric,     ///< the data cannot determine what was asked
  cancelled,   ///< a progress callback said stop
};

/// One failure, told so that a person can act on it.
struct Error {
  ErrorKind kind = ErrorKind::user_input;
  std::string
      where{};  ///< file (and line) or object, e.g. "lantern.template.yaml:12"; may be empty
  std::string field{};   ///< field or option, e.g. "lenses[1].focal_px"; may be empty
  std::string what{};    ///< what is wrong, with the value seen
  std::string remedy{};  ///< what to do about it; may be empty

  /// "where: field: what; remedy" on one line, empty parts left out.
  [[nodiscard]] std::string line() const;
};

template <class T>
using Result = tl::expected<T, Error>;

/// Failure as a return value: `return fail({.where = path, .what = "...", .remedy = "..."});`
[[nodiscard]] inline tl::unexpected<Error> fail(Error error) {
  return tl::unexpected<Error>(std::move(error));
}

}  // namespace seamwright
