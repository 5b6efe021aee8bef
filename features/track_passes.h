#pragma once

// What is done to drafts of tracks once they are chained: the sub-pixel refinement against their
// references, and the end of what does not fit its link.

#include "base/progress.h"
#include "base/result.h"
#include "features/frame_source.h"
#include "features/track_draft.h"
#include "features/tracks.h"

namespace seamwright {

/// Aligns every sight to its reference and removes what cannot be aligned. Fails as `frames` do,
/// and when `progress` says stop.
[[nodiscard]] Result<void> refine_drafts(const FrameSource& frames, const Rig& rig,
                                         const TrackOptions& options, const ProgressFn& progress,
                                         DraftSet& set);

/// Solves every link again from its refined pairs, which also tells how far they may lie off, and
/// removes sights that lie farther.
void drop_misfits(const Rig& rig, const TrackOptions& options, DraftSet& set);

}  // namespace seamwright
