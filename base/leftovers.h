#pragma once

// Temporaries of a writing process: files and folders `.NAME.PID-N.partial`, held with a lock for
// as long as the process writes (base/file.h). A process that is killed leaves them without a lock;
// the next command that writes into the folder removes them.

#include <filesystem>
#include <optional>

namespace seamwright {

/// A temporary of this process: an open, locked descriptor keeps others from removing it.
class HeldTemporary {
 public:
  enum class Kind { file, folder };

  /// A new, empty file or folder beside `destination`; empty if it cannot be made, and errno says
  /// why.
  [[nodiscard]] static std::optional<HeldTemporary> create(const std::filesystem::path& destination,
                                                           Kind kind = Kind::file);

  HeldTemporary(HeldTemporary&& other) noexcept;
  HeldTemporary& operator=(HeldTemporary&& other) noexcept;
  HeldTemporary(const HeldTemporary&) = delete;
  HeldTemporary& operator=(const HeldTemporary&) = delete;
  /// Removes it with its contents, unless it was let go.
  ~HeldTemporary();

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  /// After the file has been renamed: there is nothing left to remove.
  void let_go() noexcept;

 private:
  HeldTemporary(std::filesystem::path path, int descriptor)
      : path_(std::move(path)), descriptor_(descriptor) {}
  void remove() noexcept;

  std::filesystem::path path_;
  int descriptor_ = -1;
};

/// Removes the temporaries in a folder that no living process holds; returns how many.
int remove_leftovers(const std::filesystem::path& folder);

}  // namespace seamwright
