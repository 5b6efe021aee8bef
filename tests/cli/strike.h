#pragma once

#include <csignal>
#include <cstdlib>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/cli/run.h"

namespace seamwright::test {

/// At how many instants a program is struck; SEAMWRIGHT_KILLS for longer studies.
inline int strikes() {
  const char* given = std::getenv("SEAMWRIGHT_KILLS");
  return given != nullptr ? std::atoi(given) : 10;
}

/// Starts the program and sends the signal after some time; true where it was still at work. The
/// program has the system's own answers to signals from its first instant on, not the test's.
inline bool struck_after(const std::vector<std::string>& arguments, double seconds, int signal) {
  std::vector<std::string> words = {program()};
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> pointers;
  for (std::string& word : words) pointers.push_back(word.data());
  pointers.push_back(nullptr);

  posix_spawnattr_t attributes;
  ::posix_spawnattr_init(&attributes);
  sigset_t all;
  ::sigfillset(&all);
  ::posix_spawnattr_setsigdefault(&attributes, &all);
  ::posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGDEF);
  posix_spawn_file_actions_t files;
  ::posix_spawn_file_actions_init(&files);
  ::posix_spawn_file_actions_addopen(&files, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  ::posix_spawn_file_actions_addopen(&files, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
  pid_t child = 0;
  const int code =
      ::posix_spawn(&child, pointers[0], &files, &attributes, pointers.data(), environ);
  ::posix_spawn_file_actions_destroy(&files);
  ::posix_spawnattr_destroy(&attributes);
  REQUIRE(code == 0);

  ::usleep(static_cast<useconds_t>(1e6 * seconds));
  int status = 0;
  const bool at_work = ::waitpid(child, &status, WNOHANG) == 0;
  if (!at_work) return false;
  ::kill(child, signal);
  ::waitpid(child, &status, 0);
  return true;
}

}  // namespace seamwright::test
