#pragma once

#include <filesystem>
#include <memory>
#include <string>

#include <tiffio.h>

#include "base/result.h"

namespace seamwright {

/// An open libtiff file whose errors are kept instead of printed; warnings are dropped.
class TiffHandle {
 public:
  /// `mode` as for TIFFOpen.
  [[nodiscard]] static Result<TiffHandle> open(const std::filesystem::path& path, const char* mode);

  [[nodiscard]] TIFF* get() const { return tiff_.get(); }
  /// The first error since opening, in the library's words; empty when there was none.
  [[nodiscard]] const std::string& message() const { return *message_; }
  void close() { tiff_.reset(); }

 private:
  struct Close {
    void operator()(TIFF* tiff) const { TIFFClose(tiff); }
  };

  std::unique_ptr<std::string> message_ = std::make_unique<std::string>();  // outlives tiff_
  std::unique_ptr<TIFF, Close> tiff_;
};

}  // namespace seamwright
