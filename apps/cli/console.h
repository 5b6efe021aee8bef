#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "base/progress.h"
#include "base/result.h"

namespace seamwright {

/// How the program ends.
enum class Outcome : int {
  done = 0,
  user_error = 1,  ///< the input, an option or the system; one line on stderr says what to do
  findings = 2,    ///< finished, with something the person should look at
  internal = 3,    ///< a fault of the program
};

/// Opens what the caller left closed of stdin, stdout and stderr on the null device: the first file
/// that is opened would otherwise take the place of stderr and receive what is told there.
void open_standard_streams();

/// What a command tells: people read stderr, programs read stdout.
class Console {
 public:
  /// Puts settings in quotes into the words of the running command (option_words.h).
  using WordsFn = std::function<std::string(std::string text)>;

  explicit Console(bool json, WordsFn words = {}) : json_(json), words_(std::move(words)) {}

  /// The same person, told nothing and answered nothing: for one of many pieces of work.
  [[nodiscard]] Console hushed() const {
    Console quiet(false, words_);
    quiet.quiet_ = true;
    return quiet;
  }

  /// What a library says, in the words of the running command.
  [[nodiscard]] std::string in_words(std::string text) const {
    return words_ ? words_(std::move(text)) : text;
  }
  [[nodiscard]] std::vector<std::string> in_words(std::vector<std::string> lines) const {
    for (std::string& line : lines) line = in_words(std::move(line));
    return lines;
  }

  /// The person asked for one machine-readable object.
  [[nodiscard]] bool json() const { return json_; }

  /// One line for people, on stderr. Where stderr cannot be written the line is lost, and the work
  /// goes on.
  void say(std::string_view line) const;
  /// The command's one object, on stdout.
  void answer(const nlohmann::json& object) const;
  /// Whether all that was answered has reached stdout.
  [[nodiscard]] bool answered() const;
  /// The failure: one line on stderr, and with --json an object {"error": …} on stdout.
  void fail(const Error& error) const;

  /// A bar on stderr when that is a terminal, else silence. Ctrl-C, SIGTERM and SIGHUP ask the work
  /// to stop, which removes what is half written; a second one ends the program at once.
  [[nodiscard]] ProgressFn progress() const;

 private:
  bool json_;
  bool quiet_ = false;
  WordsFn words_;
};

}  // namespace seamwright
