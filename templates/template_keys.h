#pragma once

// The names in a template file, shared by its reader and its writer.

#include <array>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "projection/lens.h"

namespace seamwright {

inline constexpr std::string_view kTemplateFormat = "seamwright-template";
inline constexpr int kFrameLimit_px = 1'000'000;

/// Pupils are metres, or baselines where the scale is unknown; the unit stands in the key's name.
struct PupilUnit {
  std::string_view suffix;

  [[nodiscard]] std::string pupil_key() const { return "pupil_" + std::string(suffix); }
  [[nodiscard]] std::string travel_key() const { return "pupil_travel_" + std::string(suffix); }
};
inline constexpr PupilUnit kMetres{"m"};
inline constexpr PupilUnit kBaselines{"baselines"};

/// What a file calls the terms of a lens, in their order. Today's names are kLensTermNames.
using LensTermNames = std::array<std::string_view, kLensTermCount>;
/// In templates of version 1 and the touches of shot files up to version 5.
inline constexpr LensTermNames kFirstTermNames = {
    "focal_px", "centre_u_px", "centre_v_px", "k1", "k2", "k3", "k4", "b1", "b2", "p1", "p2"};

/// What a file calls the two parts of the expected seam error.
struct SeamErrorNames {
  std::string_view parallax;
  std::string_view sideways;
};
/// In templates up to version 4.
inline constexpr SeamErrorNames kFirstSeamErrorNames = {"expected_seam_along_px",
                                                        "expected_seam_across_px"};
inline constexpr SeamErrorNames kSeamErrorNames = {"expected_seam_parallax_px",
                                                   "expected_seam_sideways_px"};

/// Keys of one lens, in the order they are written.
[[nodiscard]] std::vector<std::string> lens_keys(const PupilUnit& unit, const LensTermNames& terms);
[[nodiscard]] std::vector<std::string> quality_keys(const SeamErrorNames& seam);

/// Every term name a covariance row may have ("lens0.focal_px", "lens1.rotation_x_rad", …).
[[nodiscard]] std::set<std::string> covariance_term_names(int lens_count,
                                                          const LensTermNames& terms);
/// "lens0.k1", say, as files with the names `to` write a name of files with the names `from`.
/// Names that are no lens term's stay.
[[nodiscard]] std::string renamed_term(const std::string& name, const LensTermNames& from,
                                       const LensTermNames& to);

}  // namespace seamwright
