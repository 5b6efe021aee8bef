#include "imaging/tiff_writer.h"

#include <algorithm>
#include <cassert>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "base/write_back.h"
#include "imaging/exif_writer.h"
#include "imaging/picture_error.h"
#include "imaging/tiff_handle.h"

namespace seamwright {
namespace {

// Large enough for fast writing, small enough to be read in parts.
constexpr std::size_t kStripBytes = std::size_t{256} << 10U;
// So often the system is asked to begin with writing, lest all of it waits for the end.
constexpr std::size_t kFlushBytes = std::size_t{16} << 20U;

std::size_t row_bytes(const TiffLayout& layout) {
  return static_cast<std::size_t>(layout.width) *
         static_cast<std::size_t>(channel_count(layout.channels)) * bytes_per_sample(layout.type);
}

std::uint16_t compression_tag(TiffCompression compression) {
  switch (compression) {
    case TiffCompression::none:
      return COMPRESSION_NONE;
    case TiffCompression::lzw:
      return COMPRESSION_LZW;
    case TiffCompression::deflate:
      return COMPRESSION_ADOBE_DEFLATE;
  }
  return COMPRESSION_NONE;
}

// Numbers reach libtiff's variadic setter as int (16-bit fields), uint32_t or double.
template <class T>
bool set(TIFF* tiff, std::uint32_t tag, T value) {
  return TIFFSetField(tiff, tag, value) == 1;
}

bool set_bytes(TIFF* tiff, std::uint32_t tag, const void* bytes, std::size_t size) {
  if (size == 0) return true;
  return TIFFSetField(tiff, tag, static_cast<std::uint32_t>(size), bytes) == 1;
}

bool set_samples(TIFF* tiff, const TiffLayout& layout) {
  const bool grey = layout.channels == Channels::grey || layout.channels == Channels::grey_alpha;
  const bool is_float = layout.type == SampleType::f32;
  bool ok = set(tiff, TIFFTAG_BITSPERSAMPLE, static_cast<int>(8 * bytes_per_sample(layout.type))) &&
            set(tiff, TIFFTAG_SAMPLESPERPIXEL, channel_count(layout.channels)) &&
            set(tiff, TIFFTAG_SAMPLEFORMAT, is_float ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT) &&
            set(tiff, TIFFTAG_PHOTOMETRIC, grey ? PHOTOMETRIC_MINISBLACK : PHOTOMETRIC_RGB) &&
            set(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
  if (has_alpha(layout.channels)) {
    const std::uint16_t kind = EXTRASAMPLE_UNASSALPHA;
    ok = ok && TIFFSetField(tiff, TIFFTAG_EXTRASAMPLES, 1, &kind) == 1;
  }
  if (layout.compression != TiffCompression::none) {
    // The floating point predictor pays with deflate only.
    const int predictor = !is_float                                        ? PREDICTOR_HORIZONTAL
                          : layout.compression == TiffCompression::deflate ? PREDICTOR_FLOATINGPOINT
                                                                           : PREDICTOR_NONE;
    ok = ok && set(tiff, TIFFTAG_PREDICTOR, predictor);
  }
  return ok;
}

// TIFF 6.0 asks for a resolution; this one says nothing.
bool set_resolution(TIFF* tiff) {
  constexpr double kDotsPerInch = 72;
  return set(tiff, TIFFTAG_XRESOLUTION, kDotsPerInch) &&
         set(tiff, TIFFTAG_YRESOLUTION, kDotsPerInch) &&
         set(tiff, TIFFTAG_RESOLUTIONUNIT, RESUNIT_INCH);
}

bool set_camera(TIFF* tiff, const FrameInfo& info) {
  return (!info.body_make || set(tiff, TIFFTAG_MAKE, info.body_make->c_str())) &&
         (!info.body_model || set(tiff, TIFFTAG_MODEL, info.body_model->c_str()));
}

// Puts the EXIF and GPS directories at the end of the file, which has only its header yet; the
// library's own way turns fractions such as 1/60 into binary ones. Pixels are then appended after
// it.
bool set_exif(TIFF* tiff, const FrameInfo& info, bool big) {
  thandle_t client = TIFFClientdata(tiff);
  const toff_t offset = TIFFGetSeekProc(tiff)(client, 0, SEEK_END);
  std::string bytes = exif_directory(info, offset, big);
  const toff_t gps_offset = offset + bytes.size();
  const std::string gps = gps_directory(info, gps_offset, big);
  bytes += gps;
  const auto size = static_cast<tmsize_t>(bytes.size());
  return TIFFGetWriteProc(tiff)(client, bytes.data(), size) == size &&
         set(tiff, TIFFTAG_EXIFIFD, offset) &&
         (gps.empty() || set(tiff, TIFFTAG_GPSIFD, gps_offset));
}

bool set_fields(TIFF* tiff, const TiffLayout& layout, std::uint32_t rows_per_strip) {
  return set(tiff, TIFFTAG_IMAGEWIDTH, static_cast<std::uint32_t>(layout.width)) &&
         set(tiff, TIFFTAG_IMAGELENGTH, static_cast<std::uint32_t>(layout.height)) &&
         set(tiff, TIFFTAG_COMPRESSION, static_cast<int>(compression_tag(layout.compression))) &&
         set_samples(tiff, layout) && set(tiff, TIFFTAG_ROWSPERSTRIP, rows_per_strip) &&
         set(tiff, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT) && set_resolution(tiff) &&
         set(tiff, TIFFTAG_SOFTWARE, "Seamwright") &&
         (layout.page_name.empty() ||
          (set(tiff, TIFFTAG_SUBFILETYPE, std::uint32_t{FILETYPE_PAGE}) &&
           set(tiff, TIFFTAG_PAGENAME, layout.page_name.c_str()))) &&
         set_bytes(tiff, TIFFTAG_ICCPROFILE, layout.icc_profile.data(),
                   layout.icc_profile.size()) &&
         set_bytes(tiff, TIFFTAG_XMLPACKET, layout.xmp.data(), layout.xmp.size());
}

}  // namespace

bool is_bigtiff(const TiffLayout& layout) {
  if (layout.bigtiff == BigTiff::always) return true;
  // Worst case of LZW on noise is 12 bits for each byte; fields and strip tables need some room.
  constexpr std::uint64_t kClassicLimit = (std::uint64_t{1} << 32U) - (std::uint64_t{8} << 20U);
  const std::uint64_t raw =
      std::uint64_t{row_bytes(layout)} * static_cast<std::uint64_t>(layout.height);
  const std::uint64_t extra = layout.icc_profile.size() + layout.xmp.size();
  return (layout.compression == TiffCompression::none ? raw : raw + raw / 2) + extra >
         kClassicLimit;
}

struct TiffStripWriter::State {
  PendingFile pending;
  TiffLayout layout;
  TiffHandle handle;  // closed before `pending` removes the file
  std::size_t row_bytes = 0;
  std::uint32_t rows_per_strip = 1;
  int rows_taken = 0;
  std::uint32_t strips_written = 0;
  std::size_t unflushed = 0;
  std::vector<std::byte> waiting = {};  // rows of a strip that is not yet full

  Error failure() const { return write_failure(pending.destination(), handle.message()); }

  [[nodiscard]] std::size_t strip_bytes() const { return row_bytes * rows_per_strip; }

  Result<void> write_strip(std::span<const std::byte> strip) {
    // The library does not alter a strip unless it swaps bytes, which native order rules out.
    auto* bytes = const_cast<std::byte*>(strip.data());
    const auto size = static_cast<tmsize_t>(strip.size());
    if (TIFFWriteEncodedStrip(handle.get(), strips_written, bytes, size) != size) {
      return fail(failure());
    }
    ++strips_written;
    unflushed += strip.size();
    if (unflushed >= kFlushBytes) {
      begin_write_back(TIFFFileno(handle.get()));
      unflushed = 0;
    }
    return {};
  }

  Result<void> write_waiting() {
    if (waiting.empty()) return {};
    if (auto ok = write_strip(waiting); !ok) return ok;
    waiting.clear();
    return {};
  }

  Result<void> begin() {
    row_bytes = seamwright::row_bytes(layout);
    const std::size_t rows = std::max<std::size_t>(1, kStripBytes / row_bytes);
    rows_per_strip =
        static_cast<std::uint32_t>(std::min(rows, static_cast<std::size_t>(layout.height)));
    TIFF* tiff = handle.get();
    const bool ok = set_fields(tiff, layout, rows_per_strip) &&
                    (!layout.info || (set_camera(tiff, *layout.info) &&
                                      set_exif(tiff, *layout.info, is_bigtiff(layout))));
    if (!ok) return fail(failure());
    return {};
  }
};

TiffStripWriter::TiffStripWriter(std::unique_ptr<State> state) : state_(std::move(state)) {}
TiffStripWriter::TiffStripWriter(TiffStripWriter&&) noexcept = default;
TiffStripWriter& TiffStripWriter::operator=(TiffStripWriter&&) noexcept = default;
TiffStripWriter::~TiffStripWriter() = default;

Result<TiffStripWriter> TiffStripWriter::create(const std::filesystem::path& destination,
                                                TiffLayout layout) {
  assert(layout.width > 0 && layout.height > 0);
  auto pending = PendingFile::create(destination);
  if (!pending) return tl::unexpected(pending.error());
  auto handle = TiffHandle::open(pending->temporary(), is_bigtiff(layout) ? "w8" : "w");
  if (!handle) return fail(write_failure(destination, handle.error().what));
  auto state = std::make_unique<State>(State{
      .pending = std::move(*pending), .layout = std::move(layout), .handle = std::move(*handle)});
  if (auto ok = state->begin(); !ok) return tl::unexpected(ok.error());
  return TiffStripWriter(std::move(state));
}

Result<void> TiffStripWriter::write_rows([[maybe_unused]] int first_row,
                                         std::span<const std::byte> rows) {
  State& state = *state_;
  assert(first_row == state.rows_taken);
  assert(rows.size() % state.row_bytes == 0);
  state.rows_taken += static_cast<int>(rows.size() / state.row_bytes);
  assert(state.rows_taken <= state.layout.height);
  const std::size_t strip = state.strip_bytes();
  while (!rows.empty()) {
    if (state.waiting.empty() && rows.size() >= strip) {
      if (auto ok = state.write_strip(rows.first(strip)); !ok) return ok;
      rows = rows.subspan(strip);
      continue;
    }
    const std::size_t taken = std::min(rows.size(), strip - state.waiting.size());
    state.waiting.insert(state.waiting.end(), rows.begin(),
                         rows.begin() + static_cast<std::ptrdiff_t>(taken));
    rows = rows.subspan(taken);
    if (state.waiting.size() < strip) break;
    if (auto ok = state.write_strip(state.waiting); !ok) return ok;
    state.waiting.clear();
  }
  return {};
}

Result<void> TiffStripWriter::next_page(TiffLayout layout) {
  State& state = *state_;
  assert(state.rows_taken == state.layout.height);
  assert(layout.width > 0 && layout.height > 0 && !layout.info);
  if (auto ok = state.write_waiting(); !ok) return ok;
  if (TIFFWriteDirectory(state.handle.get()) != 1) return fail(state.failure());
  state.layout = std::move(layout);
  state.rows_taken = 0;
  state.strips_written = 0;
  return state.begin();
}

Result<void> TiffStripWriter::finish() {
  State& state = *state_;
  assert(state.rows_taken == state.layout.height);
  if (auto ok = state.write_waiting(); !ok) return ok;
  // Closing flushes as well, but cannot say that it failed.
  if (TIFFFlush(state.handle.get()) != 1 || !state.handle.message().empty()) {
    return fail(state.failure());
  }
  state.handle.close();
  if (!state.handle.message().empty()) return fail(state.failure());
  return state.pending.commit();
}

}  // namespace seamwright
