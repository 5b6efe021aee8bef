#pragma once

// What we need to know of ICC profiles, and a few profiles of our own.

#include <array>
#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// Code 0…1 to light, one channel.
using ToneFunction = std::function<double(double)>;

/// Tone curves of a matrix/TRC profile (red, green, blue) or of a grey one (the same three times).
/// `coloured`: the pixels have three colour channels; `file` is where the profile was found, for
/// errors. Curves that fall, are flat or leave the finite numbers are refused.
[[nodiscard]] Result<std::array<ToneFunction, 3>> tone_functions(
    std::span<const std::byte> icc_profile, bool coloured, const std::string& file);

/// The description of a profile; empty when it has none or is broken.
[[nodiscard]] std::string icc_description(std::span<const std::byte> icc_profile);

/// A small profile: sRGB's primaries (ITU-R BT.709, D65) or grey, with the given transfer. Same
/// bytes each time.
[[nodiscard]] std::vector<std::byte> make_icc_profile(Channels channels, Transfer transfer);

/// The same colours as a matrix/TRC or grey profile, but with the given transfer: what float light
/// made of such pixels needs, and what codes made of that light need. Same bytes each time. Fails
/// on a broken profile, found in `file`, and on one that is neither.
[[nodiscard]] Result<std::vector<std::byte>> with_transfer(std::span<const std::byte> icc_profile,
                                                           Transfer transfer,
                                                           const std::string& file);

/// A profile with the primaries and the white of Rec. ITU-R BT.2020 (D65) and the given transfer.
[[nodiscard]] std::vector<std::byte> make_wide_profile(Transfer transfer);

/// CIE xy of a profile's primaries and white, all adapted to D50, as matrix profiles hold them
/// (ICC.1, 9.2.44); empty for profiles without such a matrix.
struct Primaries {
  std::array<double, 2> red, green, blue, white;
};
[[nodiscard]] std::optional<Primaries> primaries_of(std::span<const std::byte> icc_profile);

/// The profile that must go into a file so that a reader takes the pixels as they are meant: the
/// image's own, else one made for a transfer that is not taken for granted (sRGB for integers,
/// linear for floats), else empty.
[[nodiscard]] std::vector<std::byte> icc_profile_to_write(const Image& image);

}  // namespace seamwright
