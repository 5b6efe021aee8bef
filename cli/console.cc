#include "cli/console.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <memory>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <unistd.h>

namespace seamwright {

namespace {

volatile std::sig_atomic_t stop_asked = 0;

void ask_to_stop(int /*signal*/) {
  stop_asked = 1;
  std::signal(SIGINT, SIG_DFL);
}

std::string_view kind_name(ErrorKind kind) {
  switch (kind) {
    case ErrorKind::user_input:
      return "user_input";
    case ErrorKind::io:
      return "io";
    case ErrorKind::numeric:
      return "numeric";
    case ErrorKind::cancelled:
      return "cancelled";
  }
  return "unknown";
}

// One line that is redrawn where it stands, and wiped when the work is over.
class ProgressBar {
 public:
  ProgressBar() : drawn_(::isatty(STDERR_FILENO) != 0) {}
  ProgressBar(const ProgressBar&) = delete;
  ProgressBar& operator=(const ProgressBar&) = delete;
  ~ProgressBar() {
    if (drawn_ && !shown_.empty()) std::fputs("\r\033[K", stderr);
  }

  void show(const Progress& progress) {
    if (!drawn_) return;
    constexpr int kCells = 30;
    const double fraction = std::clamp(progress.fraction, 0.0, 1.0);
    const int full = static_cast<int>(std::floor(fraction * kCells));
    std::string line = fmt::format("\r\033[K{:<20} {}{} {:3.0f} %", progress.stage,
                                   std::string(static_cast<std::size_t>(full), '='),
                                   std::string(static_cast<std::size_t>(kCells - full), '.'),
                                   std::floor(100 * fraction));
    if (line == shown_) return;
    std::fputs(line.c_str(), stderr);
    shown_ = std::move(line);
  }

 private:
  bool drawn_;
  std::string shown_;
};

}  // namespace

void Console::say(std::string_view line) const {
  if (!quiet_) fmt::print(stderr, "{}\n", line);
}

void Console::answer(const nlohmann::json& object) const {
  // Names may come from foreign file systems: bytes that are not UTF-8 are replaced.
  const std::string text =
      object.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
  std::fwrite(text.data(), 1, text.size(), stdout);
}

void Console::fail(const Error& error) const {
  std::string line = "seamwright: " + error.line();
  std::replace(line.begin(), line.end(), '\n', ' ');
  say(line);
  if (json_) {
    answer({{"error",
             {{"kind", kind_name(error.kind)},
              {"where", error.where},
              {"field", error.field},
              {"what", error.what},
              {"remedy", error.remedy}}}});
  }
}

ProgressFn Console::progress() const {
  std::signal(SIGINT, ask_to_stop);
  return [bar = std::make_shared<ProgressBar>()](const Progress& progress) {
    bar->show(progress);
    return stop_asked == 0;
  };
}

}  // namespace seamwright
