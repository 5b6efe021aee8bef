#pragma once

#include <concepts>
#include <cstddef>
#include <functional>
#include <initializer_list>
#include <ranges>
#include <type_traits>
#include <vector>

#include "imaging/frame.h"

namespace seamwright {

/// Pictures that stand somewhere, in order: those of frames, or by themselves. A parameter of
/// functions that look at pictures, so that callers need not copy one to pass it. Whatever it is
/// made from must outlive it.
class Pictures {
 public:
  using Picture = std::reference_wrapper<const Image>;

  Pictures() = default;
  /// From pictures or frames that lie one after the other.
  template <std::ranges::contiguous_range Range>
  requires(!std::same_as<std::remove_cvref_t<Range>, Pictures>)
      Pictures(const Range& range) {  // implicit, as a span's is
    for (const auto& one : range) pictures_.push_back(picture_of(one));
  }
  Pictures(std::initializer_list<Picture> pictures) : pictures_(pictures) {}

  [[nodiscard]] std::size_t size() const { return pictures_.size(); }
  [[nodiscard]] const Image& operator[](std::size_t i) const { return pictures_[i]; }
  [[nodiscard]] const Image& front() const { return pictures_.front(); }
  [[nodiscard]] auto begin() const { return pictures_.begin(); }
  [[nodiscard]] auto end() const { return pictures_.end(); }

 private:
  static Picture picture_of(const Image& image) { return image; }
  static Picture picture_of(const Frame& frame) { return frame.image; }

  std::vector<Picture> pictures_;
};

}  // namespace seamwright
