#include "imaging/tiff_handle.h"

#include <array>
#include <cstdarg>
#include <cstdio>
#include <system_error>

#include "imaging/picture_error.h"

namespace seamwright {
namespace {

// libtiff's convention: a non-zero return means handled, do not print.
constexpr int kHandled = 1;

int keep_first(TIFF*, void* message, const char*, const char* format, va_list arguments) {
  auto& text = *static_cast<std::string*>(message);
  if (!text.empty()) return kHandled;
  std::array<char, 512> line{};
  std::vsnprintf(line.data(), line.size(), format, arguments);
  text = line.data();
  for (char& c : text) {
    if (static_cast<unsigned char>(c) < ' ') c = ' ';
  }
  while (!text.empty() && (text.back() == '.' || text.back() == ' ')) text.pop_back();
  return kHandled;
}

int drop(TIFF*, void*, const char*, const char*, va_list) { return kHandled; }

// No list of a sound file is longer than the file. The rest is for the tables of its decoders, and
// for the places and sizes of blocks, which libtiff makes up where they are missing.
tmsize_t most_memory(const std::filesystem::path& path) {
  constexpr std::uintmax_t kTables = 32 << 20;
  std::error_code code;
  const std::uintmax_t bytes = std::filesystem::file_size(path, code);
  return static_cast<tmsize_t>(kTables + (code ? 0 : bytes));
}

struct FreeOptions {
  void operator()(TIFFOpenOptions* options) const { TIFFOpenOptionsFree(options); }
};

}  // namespace

Result<TiffHandle> TiffHandle::open(const std::filesystem::path& path, const char* mode) {
  TiffHandle handle;
  const std::unique_ptr<TIFFOpenOptions, FreeOptions> options(TIFFOpenOptionsAlloc());
  TIFFOpenOptionsSetErrorHandlerExtR(options.get(), keep_first, handle.message_.get());
  TIFFOpenOptionsSetWarningHandlerExtR(options.get(), drop, nullptr);
  if (mode[0] == 'r') TIFFOpenOptionsSetMaxSingleMemAlloc(options.get(), most_memory(path));
  handle.tiff_.reset(TIFFOpenExt(path.string().c_str(), mode, options.get()));
  if (!handle.tiff_) return fail(broken_picture(path, handle.message()));
  return handle;
}

}  // namespace seamwright
