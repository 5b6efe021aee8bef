#include "apps/cli/look_options.h"

#include <algorithm>
#include <vector>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace seamwright {

void LookOptions::add_match(CLI::App& command, const char* words, bool of_run) {
  const auto* const end = of_run ? kLookMatchNames.end() : kLookMatchNames.end() - 1;
  command.add_option("--look", match, words)
      ->check(CLI::IsMember(std::vector<std::string>(kLookMatchNames.begin(), end)))
      ->capture_default_str();
  command
      .add_option("--warmer-ev", rest.warmer_ev,
                  "How much warmer the display picture is to be than neutral, stops of red "
                  "against blue")
      ->check(CLI::Range(-1.0, 1.0))
      ->capture_default_str();
}

void LookOptions::add_to(CLI::App& command) {
  add_match(command,
            "How bright and how white the display picture is: by the shot's own light (shot); as "
            "before there was a look (off); auto: brackets by their light, single frames as they "
            "are",
            false);
}

void LookOptions::add_to_run(CLI::App& command) {
  add_match(command,
            "How bright and how white the display pictures are: so that the rooms belong together "
            "(run); each by its own light (shot); as before there was a look (off); auto: "
            "brackets by their own light, single frames as they are",
            true);
  command
      .add_option("--room-ev", rest.room_ev,
                  "How much brighter or darker than the middle room a room may be shown, stops")
      ->check(CLI::Range(0.0, 2.0))
      ->capture_default_str();
  command
      .add_option("--cast-ev", rest.cast_ev,
                  "How much of its own colour of light a room may keep, stops")
      ->check(CLI::Range(0.0, 1.0))
      ->capture_default_str();
}

LookWish LookOptions::wish() const {
  LookWish wish = rest;
  wish.match = static_cast<LookMatch>(
      std::find(kLookMatchNames.begin(), kLookMatchNames.end(), match) - kLookMatchNames.begin());
  return wish;
}

std::string look_words(const DisplayLook& look) {
  return fmt::format("{:+.2f} EV, red {:+.2f} EV, blue {:+.2f} EV", look.gain_ev, look.red_ev,
                     look.blue_ev);
}

nlohmann::json look_json(const DisplayLook& look) {
  return {{"level_ev", look.level_ev},
          {"gain_ev", look.gain_ev},
          {"red_ev", look.red_ev},
          {"blue_ev", look.blue_ev}};
}

}  // namespace seamwright
