#include "apps/cli/wish_options.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <vector>

#include <fmt/format.h>

#include "apps/cli/file_options.h"
#include "base/enum_names.h"

namespace seamwright {

namespace {

Result<int> width_of(const std::string& text) {
  if (text == "native") return 0;
  int width = 0;
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), width);
  if (code != std::errc{} || end != text.data() + text.size() || width <= 0) {
    return fail({.kind = ErrorKind::user_input,
                 .where = {},
                 .field = "--width",
                 .what = fmt::format("'{}' is not a width", text),
                 .remedy = "give an even number of pixels, or native"});
  }
  return width;
}

// The parser has let only such words pass.
template <class Enum, std::size_t N>
Enum chosen(const std::array<std::string_view, N>& names, const std::string& word) {
  return *enum_of<Enum>(names, word);
}

}  // namespace

void WishOptions::add_to(CLI::App& command) {
  command.add_option("--width", width, "Width in pixels, or native: as fine as the lenses resolve")
      ->capture_default_str();
  command.add_option("--jpeg-quality", rest.jpeg_quality, "1 to 100")
      ->check(CLI::Range(1, 100))
      ->capture_default_str();
  command.add_option("--jpeg-width", rest.jpeg_width_px,
                     "Width of the JPEG in pixels; the panorama's own where not given");
  command.add_option("--compression", compression, "Of the TIFF: none, lzw, deflate")
      ->check(CLI::IsMember(all_of_names(kCompressionNames)))
      ->capture_default_str();
  add_glow_option(command, rest.glow_removal);
  command
      .add_option("--seam", seam,
                  "depth: near objects join at the seam; plain: as if everything were far")
      ->check(CLI::IsMember(all_of_names(kSeamNames)))
      ->capture_default_str();
  command.add_flag("--strip-location", strip_location,
                   "Leave out where the frames were taken (GPS)");
  command.add_flag("--anyway", rest.anyway,
                   "Stitch also what does not fit its template, and say so");
  command.add_flag("--no-touch", no_touch, "Leave a shot of a knocked body as the template has it");
}

Result<ShotWishes> WishOptions::wishes() const {
  ShotWishes wishes = rest;
  const auto width_px = width_of(width);
  if (!width_px) return tl::unexpected(width_px.error());
  wishes.width_px = *width_px;
  wishes.kernel = chosen<ResampleKernel>(kKernelNames, kernel);
  wishes.compression = chosen<TiffCompression>(kCompressionNames, compression);
  wishes.seam = chosen<SeamKind>(kSeamNames, seam);
  wishes.keep_location = !strip_location;
  wishes.gain_match = !no_gain_match;
  wishes.touch_knocked = !no_touch;
  wishes.look = look.wish();
  auto turn = level.wish(PointsOf::frames);
  if (!turn) return tl::unexpected(turn.error());
  wishes.level = std::move(*turn);
  return wishes;
}

void add_glow_option(CLI::App& command, double& glow_removal) {
  command
      .add_option(
          "--glow-removal", glow_removal,
          "Share of the purple and blue glow at bright edges that is taken off, 0 to 1; the "
          "light of brackets keeps it")
      ->capture_default_str();
}

void add_cover_options(CLI::App& command, CoverWish& wish) {
  command.add_option("--cover-deg", wish.cover_deg,
                     "Fill the floor within this angle of straight down from what is around it");
  command.add_option("--plate", wish.plate, "Lay this square picture's circle over the stand")
      ->type_name(value_kind::kFile);
  command.add_option("--plate-deg", wish.plate_deg, "Angle from straight down to the plate's rim");
}

}  // namespace seamwright
