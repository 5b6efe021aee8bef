#pragma once

#include <string>

#include <CLI/CLI.hpp>
#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "jobs/look/look.h"

namespace seamwright {

/// How the command line says how bright and how white display pictures are to be.
struct LookOptions {
  std::string match = std::string(kLookMatchNames.front());
  LookWish rest;  ///< what is told by numbers alone

  /// Of one shot: --look and --warmer-ev.
  void add_to(CLI::App& command);
  /// Of a run: --room-ev and --cast-ev as well.
  void add_to_run(CLI::App& command);
  [[nodiscard]] LookWish wish() const;

 private:
  void add_match(CLI::App& command, const char* words, bool of_run);
};

/// "+0.42 EV, red -0.05 EV, blue +0.12 EV".
[[nodiscard]] std::string look_words(const DisplayLook& look);
[[nodiscard]] nlohmann::json look_json(const DisplayLook& look);

}  // namespace seamwright
