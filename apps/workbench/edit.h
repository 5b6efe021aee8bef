#pragma once

// What a person changes of one shot, and how one change leads from a state to the next. Plain
// values: no files, no server.

#include <variant>
#include <vector>

#include "base/result.h"
#include "templates/shot_file.h"

namespace seamwright::workbench {

// Whatever is edited has an id: it stays the same while the thing is changed and is never
// used twice, not even after undo (Session), so that what a page asks late meets the thing it means
// or nothing. Ties, strokes and edges count for themselves.

/// One that is switched off is kept here and left out of the shot file.
struct EditedTie {
  int id = 0;
  ManualTie tie;
  bool on = true;

  bool operator==(const EditedTie&) const = default;
};

struct EditedStroke {
  int id = 0;
  SeamStroke stroke;

  bool operator==(const EditedStroke&) const = default;
};

struct EditedVertical {
  int id = 0;
  UprightEdge edge;

  bool operator==(const EditedVertical&) const = default;
};

/// The ids that come next.
struct NextIds {
  int tie = 1;
  int stroke = 1;
  int vertical = 1;

  bool operator==(const NextIds&) const = default;
};

struct EditState {
  std::vector<EditedTie> ties;
  std::vector<EditedStroke> strokes;
  std::vector<EditedVertical> verticals;
  NextIds next;

  [[nodiscard]] const EditedTie* find(int id) const;
  /// What goes into the shot file.
  [[nodiscard]] std::vector<ManualTie> ties_in_use() const;
  [[nodiscard]] std::vector<SeamStroke> seam() const;
  [[nodiscard]] std::vector<UprightEdge> edges() const;
  bool operator==(const EditState&) const = default;
};

/// As a shot file has it.
[[nodiscard]] EditState state_of(const ShotFile& shot);

struct AddTie {
  ManualTie tie;
};
/// Another place, range or spread.
struct ChangeTie {
  int id = 0;
  ManualTie tie;
};
struct SwitchTie {
  int id = 0;
  bool on = true;
};
struct RemoveTie {
  int id = 0;
};
struct AddStroke {
  SeamStroke stroke;
};
struct RemoveStroke {
  int id = 0;
};
struct AddVertical {
  UprightEdge edge;
};
struct RemoveVertical {
  int id = 0;
};
using Edit = std::variant<AddTie, ChangeTie, SwitchTie, RemoveTie, AddStroke, RemoveStroke,
                          AddVertical, RemoveVertical>;

/// The state after one edit. Refuses ties, strokes and edges that no shot file could hold, more of
/// them than one could (templates/shot_limits.h), and edits of what is not there.
[[nodiscard]] Result<EditState> after(const EditState& state, const Edit& edit, int lens_count);

}  // namespace seamwright::workbench
