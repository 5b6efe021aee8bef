#include "bench/child_process.h"

#include <array>
#include <cerrno>
#include <chrono>
#include <cstring>

#include <fcntl.h>
#include <fmt/format.h>
#include <sched.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

namespace seamwright::bench {

namespace {

Error broken(const std::string& program, std::string what) {
  return {.kind = ErrorKind::io,
          .where = program,
          .field = {},
          .what = std::move(what),
          .remedy = "run it by hand to see more"};
}

double seconds(const timeval& time) {
  return static_cast<double>(time.tv_sec) + 1e-6 * static_cast<double>(time.tv_usec);
}

// Keeps the calling process to the first processors that it may use.
void keep_to_cores(int cores) {
  cpu_set_t allowed;
  cpu_set_t kept;
  CPU_ZERO(&allowed);
  CPU_ZERO(&kept);
  if (sched_getaffinity(0, sizeof allowed, &allowed) != 0) return;
  for (int cpu = 0; cpu < CPU_SETSIZE && CPU_COUNT(&kept) < cores; ++cpu) {
    if (CPU_ISSET(cpu, &allowed)) CPU_SET(cpu, &kept);
  }
  sched_setaffinity(0, sizeof kept, &kept);
}

[[noreturn]] void become(const std::vector<std::string>& command, int cores, int out) {
  keep_to_cores(cores);
  ::dup2(out, STDOUT_FILENO);
  ::dup2(::open("/dev/null", O_WRONLY), STDERR_FILENO);
  std::vector<char*> arguments;
  for (const std::string& word : command) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  ::execv(arguments[0], arguments.data());
  ::_exit(127);
}

std::string all_of(int descriptor) {
  std::string text;
  std::array<char, 4096> block{};
  for (;;) {
    const ssize_t got = ::read(descriptor, block.data(), block.size());
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return text;
    text.append(block.data(), static_cast<std::size_t>(got));
  }
}

}  // namespace

Result<ChildFigures> run_child(const std::vector<std::string>& command, int cores, int also_good) {
  std::array<int, 2> pipe{};
  if (::pipe2(pipe.data(), O_CLOEXEC) != 0) {
    return fail(broken(command[0], std::strerror(errno)));
  }
  const auto begin = std::chrono::steady_clock::now();
  const pid_t child = ::fork();
  if (child < 0) return fail(broken(command[0], std::strerror(errno)));
  if (child == 0) become(command, cores, pipe[1]);
  ::close(pipe[1]);
  ChildFigures figures;
  figures.out = all_of(pipe[0]);
  ::close(pipe[0]);
  int status = 0;
  rusage usage{};
  if (::wait4(child, &status, 0, &usage) != child) {
    return fail(broken(command[0], std::strerror(errno)));
  }
  figures.wall_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  figures.cpu_s = seconds(usage.ru_utime) + seconds(usage.ru_stime);
  figures.peak_mib = static_cast<double>(usage.ru_maxrss) / 1024;
  if (!WIFEXITED(status)) return fail(broken(command[0], "was killed"));
  const int code = WEXITSTATUS(status);
  if (code != 0 && code != also_good) {
    return fail(broken(command[0], fmt::format("ended with code {}", code)));
  }
  return figures;
}

}  // namespace seamwright::bench
