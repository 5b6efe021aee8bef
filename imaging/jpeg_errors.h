#pragma once

#include <array>
#include <csetjmp>
#include <cstdio>

#include <jpeglib.h>

namespace seamwright {

/// libjpeg's errors kept instead of printed. A failed call ends in a longjmp to `on_failure`:
/// every call that may fail sits in a small function of C code only, entered through setjmp, with
/// nothing to destroy between the two. Warnings that mean lost pixels are failures.
struct JpegErrors {
  jpeg_error_mgr base = {};  // first, so that the library's pointer is also ours
  std::jmp_buf on_failure;
  std::array<char, JMSG_LENGTH_MAX> text = {};

  /// For the `err` field of a libjpeg struct; this object must not move afterwards.
  [[nodiscard]] jpeg_error_mgr* manager();
};

}  // namespace seamwright
