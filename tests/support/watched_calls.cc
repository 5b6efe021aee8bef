#include "tests/support/watched_calls.h"

#include <cerrno>
#include <csignal>
#include <cstdint>
#include <filesystem>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/syscall.h>
#include <unistd.h>

namespace seamwright::test {

namespace {

WatchedCalls::Watch current_watch;  // empty: nobody watches

std::string name_behind(int descriptor) {
  std::error_code ignored;
  return std::filesystem::read_symlink("/proc/self/fd/" + std::to_string(descriptor), ignored)
      .filename()
      .string();
}

Fate fate_of(const SystemCall& call) {
  if (!current_watch) return {};
  const auto watch = std::exchange(current_watch, {});
  const Fate fate = watch(call);
  current_watch = watch;
  return fate;
}

template <class Call>
auto meet(const Fate& fate, const Call& call) -> decltype(call()) {
  if (fate.kind == Fate::Kind::kills) ::raise(SIGKILL);
  if (fate.kind == Fate::Kind::fails) {
    errno = ENOSPC;
    return -1;
  }
  const auto result = call();
  if (fate.kind == Fate::Kind::kills_after) ::raise(SIGKILL);
  return result;
}

ssize_t watched_write(int descriptor, const void* bytes, std::size_t count) {
  const auto write = [&](std::size_t some) {
    return static_cast<ssize_t>(::syscall(SYS_write, descriptor, bytes, some));
  };
  if (!current_watch) return write(count);
  const Fate fate = fate_of({SystemCall::Kind::write, name_behind(descriptor), count});
  const bool half = fate.write_bytes > 0 && fate.write_bytes < count &&
                    (fate.kind == Fate::Kind::kills || fate.kind == Fate::Kind::fails);
  if (half) write(fate.write_bytes);
  return meet(fate, [&] { return write(count); });
}

template <class Call>
int watched(SystemCall::Kind kind, int descriptor, const Call& call) {
  if (!current_watch) return call();
  return meet(fate_of({kind, name_behind(descriptor)}), call);
}

}  // namespace

WatchedCalls::WatchedCalls(Watch watch) { current_watch = std::move(watch); }
WatchedCalls::~WatchedCalls() { current_watch = {}; }

}  // namespace seamwright::test

using seamwright::test::SystemCall;

// In place of the C library's.
extern "C" {

ssize_t write(int descriptor, const void* bytes, size_t count) {
  return seamwright::test::watched_write(descriptor, bytes, count);
}

int fsync(int descriptor) {
  return seamwright::test::watched(SystemCall::Kind::fsync, descriptor, [&] {
    return static_cast<int>(::syscall(SYS_fsync, descriptor));
  });
}

int ftruncate(int descriptor, off_t length) noexcept {
  return seamwright::test::watched(SystemCall::Kind::ftruncate, descriptor, [&] {
    return static_cast<int>(::syscall(SYS_ftruncate, descriptor, length));
  });
}

int flock(int descriptor, int operation) noexcept {
  return seamwright::test::watched(SystemCall::Kind::flock, descriptor, [&] {
    return static_cast<int>(::syscall(SYS_flock, descriptor, operation));
  });
}

int rename(const char* from, const char* to) noexcept {
  const auto call = [&] { return ::renameat(AT_FDCWD, from, AT_FDCWD, to); };
  if (!seamwright::test::current_watch) return call();
  return seamwright::test::meet(
      seamwright::test::fate_of(
          {SystemCall::Kind::rename, std::filesystem::path(to).filename().string()}),
      call);
}
}
