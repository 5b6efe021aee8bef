#include "apps/cli/console.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <memory>

#include <fcntl.h>
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <unistd.h>

#include "base/readable_text.h"

namespace seamwright {

namespace {

volatile std::sig_atomic_t stop_asked = 0;

constexpr int kStops[] = {SIGINT, SIGTERM, SIGHUP};

void ask_to_stop(int /*signal*/) {
  stop_asked = 1;
  for (const int stop : kStops) std::signal(stop, SIG_DFL);
}

// A signal that the caller set to be ignored (nohup) stays so.
void heed_stops() {
  for (const int stop : kStops) {
    struct sigaction before {};
    if (::sigaction(stop, nullptr, &before) == 0 && before.sa_handler == SIG_DFL) {
      std::signal(stop, ask_to_stop);
    }
  }
}

// Lost where stderr cannot be written.
void put(const std::string& text) { std::fwrite(text.data(), 1, text.size(), stderr); }

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
    if (drawn_ && !shown_.empty()) put("\r\033[K");
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
    put(line);
    shown_ = std::move(line);
  }

 private:
  bool drawn_;
  std::string shown_;
};

}  // namespace

void open_standard_streams() {
  for (const int stream : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) {
    // A new descriptor is the lowest that is free, which is the one asked for.
    if (::fcntl(stream, F_GETFD) < 0 && ::open("/dev/null", O_RDWR) < 0) return;
  }
}

void Console::say(std::string_view line) const {
  // Names of files and what foreign files say may hold commands to the terminal.
  if (!quiet_) put(printable_text(line) + "\n");
}

void Console::answer(const nlohmann::json& object) const {
  // Names may come from foreign file systems: bytes that are not UTF-8 are replaced.
  const std::string text =
      object.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
  std::fwrite(text.data(), 1, text.size(), stdout);
}

bool Console::answered() const { return std::fflush(stdout) == 0 && std::ferror(stdout) == 0; }

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
  heed_stops();
  return [bar = std::make_shared<ProgressBar>()](const Progress& progress) {
    bar->show(progress);
    return stop_asked == 0;
  };
}

}  // namespace seamwright
