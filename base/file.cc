#include "base/file.h"

#include <array>
#include <atomic>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <memory>
#include <sstream>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <openssl/evp.h>
#include <unistd.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Error system_error(const fs::path& path, std::string_view what, std::string_view remedy) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = {},
          .what = fmt::format("{}: {}", what, std::strerror(errno)),
          .remedy = std::string(remedy)};
}

// Flushes a file or folder to the disk; folders that cannot be opened for that are let pass.
bool sync_path(const fs::path& path, bool is_folder) {
  const int descriptor = ::open(path.c_str(), is_folder ? O_RDONLY | O_DIRECTORY : O_RDWR);
  if (descriptor < 0) return is_folder;
  const bool flushed = ::fsync(descriptor) == 0;
  return ::close(descriptor) == 0 && (flushed || is_folder);
}

fs::path folder_of(const fs::path& path) {
  const fs::path parent = path.parent_path();
  return parent.empty() ? fs::path(".") : parent;
}

fs::path temporary_beside(const fs::path& destination) {
  static std::atomic<unsigned> counter{0};
  return folder_of(destination) / fmt::format(".{}.{}-{}.partial", destination.filename().string(),
                                              ::getpid(), counter.fetch_add(1));
}

class Sha256 {
 public:
  Sha256() : context_(EVP_MD_CTX_new(), EVP_MD_CTX_free) {
    EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr);
  }
  void add(std::string_view bytes) { EVP_DigestUpdate(context_.get(), bytes.data(), bytes.size()); }
  std::string hex() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned size = 0;
    EVP_DigestFinal_ex(context_.get(), digest.data(), &size);
    std::string text;
    for (unsigned i = 0; i < size; ++i) text += fmt::format("{:02x}", digest[i]);
    return text;
  }

 private:
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context_;
};

}  // namespace

PendingFile::PendingFile(fs::path temporary, fs::path destination)
    : temporary_(std::move(temporary)), destination_(std::move(destination)) {}

PendingFile::PendingFile(PendingFile&& other) noexcept
    : temporary_(std::exchange(other.temporary_, {})),
      destination_(std::exchange(other.destination_, {})) {}

PendingFile& PendingFile::operator=(PendingFile&& other) noexcept {
  if (this != &other) {
    discard();
    temporary_ = std::exchange(other.temporary_, {});
    destination_ = std::exchange(other.destination_, {});
  }
  return *this;
}

PendingFile::~PendingFile() { discard(); }

void PendingFile::discard() noexcept {
  if (temporary_.empty()) return;
  std::error_code ignored;
  fs::remove(temporary_, ignored);
  temporary_.clear();
}

Result<PendingFile> PendingFile::create(const fs::path& destination) {
  std::error_code code;
  if (destination.filename().empty() || fs::is_directory(destination, code)) {
    return fail({.kind = ErrorKind::user_input,
                 .where = destination.string(),
                 .field = {},
                 .what = "is a folder, not a file to write",
                 .remedy = "give a file name"});
  }
  if (!fs::is_directory(folder_of(destination), code)) {
    return fail({.kind = ErrorKind::io,
                 .where = destination.string(),
                 .field = {},
                 .what = "its folder does not exist",
                 .remedy = "create the folder or choose another place"});
  }
  fs::path temporary = temporary_beside(destination);
  const int descriptor = ::open(temporary.c_str(), O_WRONLY | O_CREAT | O_EXCL, 0666);
  if (descriptor < 0) {
    return fail(system_error(destination, "cannot be written",
                             "check the folder's permissions and free space"));
  }
  ::close(descriptor);
  return PendingFile(std::move(temporary), destination);
}

Result<void> PendingFile::commit() {
  if (!sync_path(temporary_, false)) {
    return fail(system_error(destination_, "cannot be flushed to the disk",
                             "check free space and the disk's health"));
  }
  std::error_code code;
  fs::rename(temporary_, destination_, code);
  if (code) {
    return fail({.kind = ErrorKind::io,
                 .where = destination_.string(),
                 .field = {},
                 .what = "cannot be replaced: " + code.message(),
                 .remedy = "check the folder's permissions"});
  }
  temporary_.clear();
  sync_path(folder_of(destination_), true);
  return {};
}

Result<void> write_file(const fs::path& destination, std::string_view bytes) {
  auto pending = PendingFile::create(destination);
  if (!pending) return tl::unexpected(pending.error());
  {
    std::ofstream out(pending->temporary(), std::ios::binary | std::ios::trunc);
    out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    out.close();
    if (!out) return fail(system_error(destination, "cannot be written", "check free space"));
  }
  return pending->commit();
}

Result<std::string> read_file(const fs::path& path, std::size_t limit_bytes) {
  std::error_code code;
  if (!fs::is_regular_file(path, code)) {
    return fail({.kind = ErrorKind::user_input,
                 .where = path.string(),
                 .field = {},
                 .what = fs::exists(path, code) ? "is not a file" : "no such file",
                 .remedy = "check the path"});
  }
  if (fs::file_size(path, code) > limit_bytes) {
    return fail({.kind = ErrorKind::user_input,
                 .where = path.string(),
                 .field = {},
                 .what = fmt::format("is larger than {} bytes", limit_bytes),
                 .remedy = "check that this is the right file"});
  }
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  if (!in) return fail(system_error(path, "cannot be read", "check its permissions"));
  return std::move(text).str();
}

Result<std::string> sha256_of_file(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) return fail(system_error(path, "cannot be read", "check the path and its permissions"));
  Sha256 hash;
  std::array<char, 1U << 16U> block{};
  while (in.read(block.data(), block.size()) || in.gcount() > 0) {
    hash.add({block.data(), static_cast<std::size_t>(in.gcount())});
  }
  if (in.bad()) return fail(system_error(path, "cannot be read", "check the disk"));
  return hash.hex();
}

std::string sha256(std::string_view bytes) {
  Sha256 hash;
  hash.add(bytes);
  return hash.hex();
}

}  // namespace seamwright
