#pragma once

// All that is known of an open shot but for its edits: frames, template, ribbons. Does not change
// once made, so that long work can go on with it in another thread.

#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "apps/workbench/match_search.h"
#include "apps/workbench/shot_list.h"
#include "base/result.h"
#include "compose/render/preview.h"
#include "imaging/frame.h"
#include "jobs/shot/shot.h"
#include "projection/ribbon.h"
#include "sampling/lens_view.h"
#include "solver/touch.h"
#include "templates/rig_template.h"
#include "templates/shot_file.h"

namespace seamwright::workbench {

/// A shot as it was read.
struct OpenedShot {
  Shot shot;
  ShotFile document;  ///< as its file has it, or would; names the template with its hash
  ShotPictures pictures;
};

/// Opens a shot of the list; a touch of another template than the one at hand counts for nothing.
/// `template_file` empty: the one that the shot file names.
[[nodiscard]] Result<OpenedShot> open_entry(const ShotEntry& entry,
                                            const std::filesystem::path& template_file);

/// Reads frames, template and shot file of an entry. Called from several threads.
using OpenShotFn = std::function<Result<OpenedShot>(const ShotEntry&)>;

class Desk {
 public:
  /// Fails where frames and template do not fit, or no two lenses meet.
  [[nodiscard]] static Result<std::shared_ptr<const Desk>> make(OpenedShot opened);

  Desk(const Desk&) = delete;
  Desk& operator=(const Desk&) = delete;

  [[nodiscard]] const OpenedShot& opened() const { return opened_; }
  [[nodiscard]] const std::vector<Frame>& frames() const { return opened_.pictures.frames; }
  /// The template's rig at the frames' size.
  [[nodiscard]] const Rig& rig() const { return rig_; }
  /// Where lenses meet; ties, strips and seams are told on these grids.
  [[nodiscard]] const std::vector<PairOverlap>& pairs() const { return pairs_; }

  /// Ribbon px of a frame px through a lens of the template; empty outside its field.
  [[nodiscard]] std::optional<Vec2> ribbon_px(std::size_t pair, int lens, const Vec2& px) const;
  [[nodiscard]] std::optional<Vec2> frame_px(std::size_t pair, int lens, const Vec2& at) const;
  /// The first pair that two of a tie's sights belong to.
  [[nodiscard]] std::optional<std::size_t> pair_of(const ManualTie& tie) const;

  /// A tie for a click at a ribbon place of one lens' strip; empty where nothing alike is found.
  struct Matched {
    ManualTie tie;
    FoundMatch found;
  };
  [[nodiscard]] std::optional<Matched> match(std::size_t pair, int lens, const Vec2& at) const;

  /// The template touched by these ties; pixels of its figures are the frames'.
  [[nodiscard]] Result<TouchResult> touch(const std::vector<ManualTie>& ties) const;
  /// The rig at the frames' size with a touch.
  [[nodiscard]] Rig touched(const TouchResult& result) const;

  /// JPEG of a lens' strip through a rig at the frames' size; at most kMostWidth_px wide.
  [[nodiscard]] std::string strip(std::size_t pair, int lens, const Rig& rig) const;
  static constexpr int kMostWidth_px = 8192;

  /// JPEG of a look out of a rig at the frames' size, or of the whole sphere (equirectangular,
  /// kSphereWidth_px wide). Brightness is matched between the lenses; everything is taken as far.
  [[nodiscard]] Result<std::string> look(const Preview& look, const Rig& rig) const;
  [[nodiscard]] Result<std::string> sphere(const Rig& rig) const;
  static constexpr int kSphereWidth_px = 1024;

 private:
  explicit Desk(OpenedShot opened) : opened_(std::move(opened)) {}
  [[nodiscard]] const GainMatch& gains() const;
  [[nodiscard]] const RigTemplate& body() const { return opened_.shot.body.rig_template; }

  OpenedShot opened_;
  Rig rig_;
  double scale_ = 1;  // template px per frame px
  std::vector<LensView> views_;
  std::vector<PairOverlap> pairs_;
  std::vector<std::unique_ptr<MatchSearch>> searches_;
  mutable std::once_flag gains_once_;
  mutable GainMatch gains_;  // by the template's rig; made when first wanted
};

}  // namespace seamwright::workbench
