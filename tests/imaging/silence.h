#pragma once

#include <cstdio>
#include <string>

#include <fcntl.h>
#include <unistd.h>

#include "tests/support/scratch_dir.h"

namespace seamwright::test {

/// Catches all that is written to standard output and standard error, by any library, while a call
/// runs.
template <class Call>
[[nodiscard]] std::string printed_by(Call&& call) {
  const ScratchDir dir;
  const std::string path = (dir / "printed").string();
  std::fflush(nullptr);
  const int out = ::dup(STDOUT_FILENO);
  const int err = ::dup(STDERR_FILENO);
  const int file = ::open(path.c_str(), O_CREAT | O_WRONLY | O_APPEND, 0600);
  ::dup2(file, STDOUT_FILENO);
  ::dup2(file, STDERR_FILENO);
  call();
  std::fflush(nullptr);
  ::dup2(out, STDOUT_FILENO);
  ::dup2(err, STDERR_FILENO);
  for (const int descriptor : {out, err, file}) ::close(descriptor);
  return get_file(path);
}

}  // namespace seamwright::test
