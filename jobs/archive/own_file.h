#pragma once

#include <filesystem>
#include <string>

#include "base/result.h"

namespace seamwright {

/// A file that the program keeps for itself in a folder of its own, open until this goes. Neither
/// the file nor that folder may be a symbolic link, and the file no device or pipe: what is written
/// stays where a person looks for it.
class OwnFile {
 public:
  /// To append to and to read; made with its folder where they are missing. `field` is what errors
  /// name.
  [[nodiscard]] static Result<OwnFile> open(const std::filesystem::path& file,
                                            const std::string& field);
  /// To read; the file must be there.
  [[nodiscard]] static Result<OwnFile> open_to_read(const std::filesystem::path& file,
                                                    const std::string& field);

  OwnFile(OwnFile&& other) noexcept;
  OwnFile& operator=(OwnFile&& other) = delete;
  OwnFile(const OwnFile&) = delete;
  OwnFile& operator=(const OwnFile&) = delete;
  ~OwnFile();

  [[nodiscard]] int descriptor() const { return descriptor_; }
  /// All bytes from the beginning. Fails beyond 4 GiB.
  [[nodiscard]] Result<std::string> bytes() const;

 private:
  OwnFile(std::filesystem::path file, std::string field, int descriptor)
      : file_(std::move(file)), field_(std::move(field)), descriptor_(descriptor) {}
  [[nodiscard]] static Result<OwnFile> open(const std::filesystem::path& file,
                                            const std::string& field, int flags);

  std::filesystem::path file_;
  std::string field_;
  int descriptor_ = -1;
};

}  // namespace seamwright
