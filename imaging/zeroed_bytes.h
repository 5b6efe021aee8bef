#pragma once

// Memory for pixels. The system hands large pieces out as zeros without touching them: the pages of
// a picture that turns out to be broken after its first rows are never taken.

#include <algorithm>
#include <cstddef>
#include <cstdlib>
#include <memory>
#include <new>
#include <span>
#include <utility>

namespace seamwright {

/// A fixed number of bytes, zero at first. Copies are deep.
class ZeroedBytes {
 public:
  ZeroedBytes() = default;
  explicit ZeroedBytes(std::size_t count)
      : bytes_(static_cast<std::byte*>(std::calloc(std::max<std::size_t>(count, 1), 1))),
        count_(count) {
    if (!bytes_) throw std::bad_alloc();
  }
  ZeroedBytes(const ZeroedBytes& other) : ZeroedBytes(other.count_) {
    std::ranges::copy(other.span(), bytes_.get());
  }
  ZeroedBytes(ZeroedBytes&& other) noexcept
      : bytes_(std::move(other.bytes_)), count_(std::exchange(other.count_, 0)) {}
  ZeroedBytes& operator=(ZeroedBytes other) noexcept {
    std::swap(bytes_, other.bytes_);
    std::swap(count_, other.count_);
    return *this;
  }
  ~ZeroedBytes() = default;

  [[nodiscard]] std::byte* data() { return bytes_.get(); }
  [[nodiscard]] const std::byte* data() const { return bytes_.get(); }
  [[nodiscard]] std::span<std::byte> span() { return {bytes_.get(), count_}; }
  [[nodiscard]] std::span<const std::byte> span() const { return {bytes_.get(), count_}; }

 private:
  struct Free {
    void operator()(std::byte* bytes) const { std::free(bytes); }
  };
  std::unique_ptr<std::byte, Free> bytes_;
  std::size_t count_ = 0;
};

}  // namespace seamwright
