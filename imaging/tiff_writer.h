#pragma once

// TIFF out, row by row, so that memory does not grow with the picture's height.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/result.h"
#include "imaging/frame.h"
#include "imaging/image.h"

namespace seamwright {

enum class TiffCompression : std::uint8_t {
  none,
  lzw,      ///< with horizontal predictor on integer samples
  deflate,  ///< with horizontal predictor on integer, floating point predictor on float samples
};

enum class BigTiff : std::uint8_t {
  when_needed,  ///< when the picture may not fit the 4 GiB of classic TIFF
  always,
};

/// Everything about a TIFF but its pixels.
struct TiffLayout {
  int width = 0;
  int height = 0;
  Channels channels = Channels::rgb;
  SampleType type = SampleType::u16;
  TiffCompression compression = TiffCompression::none;
  BigTiff bigtiff = BigTiff::when_needed;
  std::vector<std::byte> icc_profile = {};  ///< written byte for byte; empty: none
  std::string xmp = {};                     ///< XMP packet (tag 0x02BC); empty: none
  std::optional<FrameInfo> info = {};       ///< written as TIFF and EXIF fields
  std::string page_name = {};               ///< of a page of several; empty: none
};

/// True when `layout` goes out as BigTIFF.
[[nodiscard]] bool is_bigtiff(const TiffLayout& layout);

/// One TIFF being written, rows top to bottom. The destination appears whole at `finish()`; when
/// any step fails, or the writer is destroyed before, nothing is left behind. One thread at a time.
class TiffStripWriter {
 public:
  [[nodiscard]] static Result<TiffStripWriter> create(const std::filesystem::path& destination,
                                                      TiffLayout layout);

  TiffStripWriter(TiffStripWriter&&) noexcept;
  TiffStripWriter& operator=(TiffStripWriter&&) noexcept;
  ~TiffStripWriter();

  /// One or more whole rows, laid out as in Image. `first_row` must be the number of rows written
  /// so far (asserted).
  [[nodiscard]] Result<void> write_rows(int first_row, std::span<const std::byte> rows);

  /// Ends a page, all rows of which must have been written (asserted), and begins another below it
  /// in the same file. The first page's `bigtiff` holds for the whole file: ask for `always` where
  /// the pages together may not fit the 4 GiB. `info` belongs to the first page only (asserted).
  [[nodiscard]] Result<void> next_page(TiffLayout layout);

  /// Directory, flush to the disk, rename. All rows must have been written (asserted).
  [[nodiscard]] Result<void> finish();

 private:
  struct State;
  explicit TiffStripWriter(std::unique_ptr<State> state);

  std::unique_ptr<State> state_;
};

}  // namespace seamwright
