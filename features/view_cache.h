#pragma once

// The views of many shots in bounded memory: the least recently used shot goes first.

#include <cstddef>
#include <list>
#include <memory>
#include <vector>

#include "base/result.h"
#include "features/frame_source.h"
#include "sampling/lens_view.h"

namespace seamwright {

/// Not for use by several threads at once.
class ViewCache {
 public:
  using Views = std::shared_ptr<const std::vector<LensView>>;

  /// At least two shots are kept, whatever `most_bytes` says.
  ViewCache(FrameSource frames, const Rig& rig, std::size_t most_bytes);

  /// Fails as the source and `views_of` do.
  [[nodiscard]] Result<Views> of(int shot);

 private:
  struct Entry {
    int shot = 0;
    Views views;
  };

  FrameSource frames_;
  const Rig& rig_;
  std::size_t most_bytes_;
  std::list<Entry> entries_;  // most recently used first
};

}  // namespace seamwright
