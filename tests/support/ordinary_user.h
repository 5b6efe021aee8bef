#pragma once

// The superuser may read and write everything: what a locked file or folder does can only be seen
// by somebody else. While one of these lives, a test that was started as root acts as an ordinary
// user.

#include <exception>
#include <stdexcept>

#include <fcntl.h>
#include <unistd.h>

namespace seamwright::test {

/// Make it first in a case, so that scratch files belong to that user too.
class OrdinaryUser {
 public:
  OrdinaryUser() : was_root_(::geteuid() == 0) {
    if (!was_root_) return;
    if (::setegid(kNobody) != 0 || ::seteuid(kNobody) != 0) {
      throw std::runtime_error("cannot act as an ordinary user");
    }
  }
  OrdinaryUser(const OrdinaryUser&) = delete;
  OrdinaryUser& operator=(const OrdinaryUser&) = delete;
  ~OrdinaryUser() {
    if (was_root_ && (::seteuid(0) != 0 || ::setegid(0) != 0)) std::terminate();
  }

  /// In a child process: runs a program, as that user for good where one of these lives. The
  /// folders above the program may be closed to that user. Returns only where it fails.
  static void execute(const char* program, char* const arguments[]) {
    if (::getuid() == ::geteuid()) {
      ::execv(program, arguments);
      return;
    }
    if (::seteuid(0) != 0) return;
    const int opened = ::open(program, O_RDONLY | O_CLOEXEC);
    if (opened < 0 || ::setgid(kNobody) != 0 || ::setuid(kNobody) != 0) return;
    ::fexecve(opened, arguments, environ);
  }

 private:
  static constexpr unsigned kNobody = 65534;
  bool was_root_;
};

}  // namespace seamwright::test
