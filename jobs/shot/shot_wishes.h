#pragma once

// What a person wishes of a shot's panorama beside the shot itself: everything that decides its
// bytes and is said by no frame, template or shot file. A new wish is added here and in fields.h,
// which does not compile without it; the key that tells whether a panorama is up to date then holds
// it (shot_key.h).

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

#include "base/result.h"
#include "compose/finish/cover_stand.h"
#include "compose/finish/levelling.h"
#include "compose/render/render.h"
#include "imaging/tiff_writer.h"
#include "jobs/brackets/merge.h"
#include "jobs/brackets/tone.h"
#include "jobs/look/look.h"

namespace seamwright {

/// How two lenses' pictures are joined.
enum class SeamKind : std::uint8_t {
  depth,  ///< near objects join at the seam
  plain,  ///< as if everything were far
};

// The words of people for what is chosen, in the order of the enumerators.
inline constexpr std::array<std::string_view, 2> kSeamNames = {"depth", "plain"};
inline constexpr std::array<std::string_view, 2> kKernelNames = {"catmull-rom", "lanczos-3"};
inline constexpr std::array<std::string_view, 3> kCompressionNames = {"none", "lzw", "deflate"};

struct ShotWishes {
  int width_px = 0;  ///< even; 0: as fine as the lenses resolve
  ResampleKernel kernel = ResampleKernel::catmull_rom;
  SeamKind seam = SeamKind::depth;
  double blend_half_width_deg = RenderOptions{}.blend_half_width_deg;  ///< of plain seams
  bool gain_match = true;   ///< else each lens keeps its brightness and colour
  MergeOptions merge = {};  ///< of brackets
  ToneWish tone = {};       ///< of brackets
  LookWish look = {};       ///< of the picture for displays
  double glow_removal = 0;  ///< 0…1: of the glow at bright edges (compose/finish/glow.h)
  LevelWish level = {};
  CoverWish cover = {};
  TiffCompression compression = TiffCompression::none;
  int jpeg_quality = 92;
  int jpeg_width_px = 0;      ///< of a companion JPEG; 0: the panorama's own
  bool keep_location = true;  ///< where the frames were taken stays in the panorama
  bool anyway = false;        ///< stitch what does not fit its template too (shot_fit.h)
  bool touch_knocked = true;  ///< a knock that the ties tell for certain is touched

  [[nodiscard]] RenderOptions render_options() const;
  [[nodiscard]] std::optional<Error> validate() const;
};

}  // namespace seamwright
