#pragma once

// What an archive's journal says, line by line. A line is read whole or not at all: one key that is
// missing or of the wrong kind makes it a damaged line. Names are bytes here; in the journal they
// stand as base/readable_text.h spells them.

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include <nlohmann/json.hpp>

#include "jobs/archive/stamp.h"

namespace seamwright {

/// A run began.
struct RunLine {};

/// A file held this when it looked like that.
struct HashLine {
  std::string file;  ///< absolute
  Stamp stamp;
  std::string sha256;
};

struct OutputLine {
  std::string file;  ///< relative to the run's folder
  std::uintmax_t bytes = 0;
  std::string sha256;
};

/// An item was begun; it was interrupted where nothing tells its end.
struct BeginLine {
  std::string name;
};

struct DoneLine {
  std::string name;
  std::string inputs;    ///< hash of what they hold
  std::string settings;  ///< hash
  std::vector<OutputLine> outputs;
  std::vector<std::string> findings;
  double seconds = 0;
};

struct FailedLine {
  std::string name;
  std::string error;
};

/// So many lines of a journal are damaged, and that was told.
struct DamageLine {
  std::string journal;  ///< file name
  int lines = 0;
};

/// Of another version, whatever it says; or a hash of one that kept less than a whole stamp.
struct OtherLine {};

using JournalLine =
    std::variant<OtherLine, RunLine, HashLine, BeginLine, DoneLine, FailedLine, DamageLine>;

/// Nothing where the line is damaged.
[[nodiscard]] std::optional<JournalLine> read_journal_line(const nlohmann::json& entry);

[[nodiscard]] nlohmann::json as_json(const RunLine& line);
[[nodiscard]] nlohmann::json as_json(const HashLine& line);
[[nodiscard]] nlohmann::json as_json(const BeginLine& line);
[[nodiscard]] nlohmann::json as_json(const DoneLine& line);
[[nodiscard]] nlohmann::json as_json(const FailedLine& line);
[[nodiscard]] nlohmann::json as_json(const DamageLine& line);

}  // namespace seamwright
