#include "base/file.h"

#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <future>
#include <memory>
#include <sstream>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <openssl/evp.h>
#include <unistd.h>

#include "base/file_record.h"
#include "base/flush_folder.h"
#include "base/written_files.h"

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

bool flush_file(const fs::path& path) {
  const int descriptor = ::open(path.c_str(), O_RDWR);
  if (descriptor < 0) return false;
  const bool flushed = ::fsync(descriptor) == 0;
  return ::close(descriptor) == 0 && flushed;
}

Error no_temporary(const fs::path& destination) {
  return system_error(destination, "cannot be written",
                      "check the folder's permissions and free space");
}

// A second name for the version that is about to be replaced. Where there is none, or the file
// system knows no second names, there is nothing to keep or it is copied.
void keep_previous(const fs::path& file) {
  fs::path previous = file;
  previous += ".previous";
  std::error_code code;
  if (!fs::exists(file, code)) return;
  fs::remove(previous, code);
  fs::create_hard_link(file, previous, code);
  if (code) fs::copy_file(file, previous, fs::copy_options::overwrite_existing, code);
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

Result<PendingFile> PendingFile::create(const fs::path& destination, Replacing replacing) {
  if (auto error = refusal_to_write(destination, replacing)) return fail(std::move(*error));
  sweep_leftovers_beside(destination);
  auto temporary = HeldTemporary::create(destination);
  if (!temporary) return fail(no_temporary(destination));
  return PendingFile(std::move(*temporary), destination, replacing);
}

Result<void> PendingFile::commit() {
  // Hashing takes a processor, flushing the disk: side by side.
  auto flushed = std::async(std::launch::async, [&] { return flush_file(temporary()); });
  const auto hash = sha256_of_file(temporary());
  if (!flushed.get()) {
    return fail(system_error(destination_, "cannot be flushed to the disk",
                             "check free space and the disk's health"));
  }
  if (!hash) return tl::unexpected(hash.error());
  if (auto error = refusal_to_write(destination_, replacing_)) return fail(std::move(*error));
  record_written(temporary(), destination_, *hash);
  std::error_code code;
  if (replacing_ == Replacing::previous_kept) keep_previous(destination_);
  fs::rename(temporary(), destination_, code);
  if (code) {
    return fail({.kind = ErrorKind::io,
                 .where = destination_.string(),
                 .field = {},
                 .what = "cannot be replaced: " + code.message(),
                 .remedy = "check the folder's permissions"});
  }
  temporary_.let_go();
  note_committed(destination_, *hash);
  flush_folder_of(destination_);
  return {};
}

Result<HeldTemporary> scratch_beside(const fs::path& destination) {
  sweep_leftovers_beside(destination);
  auto temporary = HeldTemporary::create(destination, HeldTemporary::Kind::folder);
  if (!temporary) return fail(no_temporary(destination));
  return std::move(*temporary);
}

Result<void> write_file(const fs::path& destination, std::string_view bytes, Replacing replacing) {
  auto pending = PendingFile::create(destination, replacing);
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
  note_read(path);
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
