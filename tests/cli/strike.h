#pragma once

#include <csignal>
#include <cstdlib>
#include <string>
#include <vector>

#include <sys/wait.h>
#include <unistd.h>

#include "tests/cli/archive_shots.h"

namespace seamwright::test {

/// At how many instants a program is struck; SEAMWRIGHT_KILLS for longer studies.
inline int strikes() {
  const char* given = std::getenv("SEAMWRIGHT_KILLS");
  return given != nullptr ? std::atoi(given) : 20;
}

/// Starts the program and sends the signal after some time; true where it was still at work.
inline bool struck_after(const std::vector<std::string>& arguments, double seconds, int signal) {
  const pid_t child = ::fork();
  if (child == 0) become_program(arguments);
  ::usleep(static_cast<useconds_t>(1e6 * seconds));
  int status = 0;
  const bool at_work = ::waitpid(child, &status, WNOHANG) == 0;
  if (!at_work) return false;
  ::kill(child, signal);
  ::waitpid(child, &status, 0);
  return true;
}

}  // namespace seamwright::test
