#pragma once

// What a person changes of one shot, and how one change leads from a state to the next. Plain
// values: no files, no server.

#include <variant>
#include <vector>

#include "base/result.h"
#include "templates/shot_file.h"

namespace seamwright::workbench {

/// A tie on the bench. One that is switched off is kept here and left out of the shot file.
struct BenchTie {
  int id = 0;  ///< stays the same while the tie is moved; never used twice
  ManualTie tie;
  bool on = true;

  bool operator==(const BenchTie&) const = default;
};

struct EditState {
  std::vector<BenchTie> ties;
  std::vector<SeamStroke> strokes;
  std::vector<UprightEdge> verticals;
  int next_id = 1;

  [[nodiscard]] const BenchTie* find(int id) const;
  /// What goes into the shot file.
  [[nodiscard]] std::vector<ManualTie> ties_in_use() const;
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
  int index = 0;
};
struct AddVertical {
  UprightEdge edge;
};
struct RemoveVertical {
  int index = 0;
};
using Edit = std::variant<AddTie, ChangeTie, SwitchTie, RemoveTie, AddStroke, RemoveStroke,
                          AddVertical, RemoveVertical>;

/// The state after one edit. Refuses ties, strokes and edges that no shot file could hold, and
/// edits of what is not there.
[[nodiscard]] Result<EditState> after(const EditState& state, const Edit& edit, int lens_count);

}  // namespace seamwright::workbench
