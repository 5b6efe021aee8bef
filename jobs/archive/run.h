#pragma once

// Many pieces of the same work, done once each, whatever happens in between.
//
// What a piece depends on is told by content: the SHA-256 of its inputs and the text of its
// settings. A piece is skipped when a journal says that it was done from the very same, and its
// outputs still hold the very bytes that were written then. An output that somebody changed since
// is kept: its piece fails and says so (base/file_guard.h). Outputs appear whole or not at all
// (base/file.h), and a piece counts as done only when its outputs are on the disk and then the
// journal says so: a kill between the two costs one piece done again, to the same bytes.
//
// Not everything is read at every run. A file whose stamp (stamp.h) is the one it had when it was
// read is trusted to hold what it held then; one whose stamp moved is read again, and only its
// content decides. Of every run a sample of the finished pieces is read again all the same, and
// `read_all` trusts nothing.

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/archive/hashes.h"

namespace seamwright {

struct ArchiveItem {
  std::string name;                           ///< unique in the run
  std::vector<std::filesystem::path> inputs;  ///< everything it is made from
  std::string settings;                       ///< everything else that decides its bytes
  /// What earlier programs wrote for the same settings, as they stand in old journals.
  std::vector<std::string> former_settings = {};
  std::vector<std::filesystem::path> outputs;  ///< in the run's folder
  std::optional<Error> failure = {};  ///< why it cannot even be begun; it is told and left out
  /// More outputs, which only the work can tell, such as tiles by the size of what they are cut
  /// from: asked for after it. Empty: none.
  std::function<Result<std::vector<std::filesystem::path>>()> further_outputs = {};
};

enum class ItemState {
  unchanged,  ///< was done before, from the same
  done,       ///< in this run
  to_do,      ///< of a dry run, or of a run that was stopped
  failed,
};

struct ItemOutcome {
  std::string name;
  ItemState state = ItemState::to_do;
  std::string why = {};  ///< it has to be done: "new", "interrupted"…; of failures the error
  std::vector<std::string> findings = {};
  double seconds = 0;  ///< of this run
};

struct RunReport {
  std::vector<ItemOutcome> items;  ///< in the order of their names
  int damaged_lines = 0;           ///< of all journals, but for what an earlier run told
  double usual_seconds = 0;        ///< of one item, median over what the journals tell; 0: unknown
  bool stopped = false;            ///< before all was done
  int read_again = 0;              ///< items whose outputs were read though their stamps were known
  /// Outputs that no longer held what was written though their stamps were the same.
  std::vector<std::filesystem::path> decayed = {};
  /// Files in the folder that earlier runs wrote and that are no output of any item now, such as
  /// those of an item that was renamed. By name; none of a part or of a run that was stopped.
  std::vector<std::filesystem::path> left_behind = {};

  [[nodiscard]] int count(ItemState state) const;
};

struct RunOptions {
  std::filesystem::path folder;  ///< of the outputs
  int part = 1;                  ///< of `parts`: items go to parts by the hash of their names
  int parts = 1;                 ///< parts of one number may run side by side, a whole run alone
  bool dry_run = false;          ///< nothing is written, not even the journal
  bool read_all = false;         ///< every input and output is read, whatever is remembered of it
  int sample_every = 50;         ///< one in so many items' outputs is read at each run; 0: none
  int at_once = 1;               ///< so many items are worked on side by side
  ClockFn clock = {};            ///< empty: the system's
  std::string journal = ".restitch";  ///< the folder in `folder` where the journal lies
};

/// Does one item: makes its outputs, gives findings. An error of kind `cancelled` stops the run.
using ItemWork = std::function<Result<std::vector<std::string>>(const ArchiveItem& item)>;
/// Told after each item, `at` of them by then, one at a time; false stops the run.
using ItemTold = std::function<bool(const ItemOutcome& item, int at, int of)>;

/// `name`, or "name (2)" and so on: the first that no item has.
[[nodiscard]] std::string free_item_name(const std::string& name,
                                         const std::function<bool(const std::string&)>& taken);

/// Whether an item belongs to a part.
[[nodiscard]] bool in_part(const std::string& name, int part, int parts);

/// Does what is to be done, begun in the order of names; with several at once `work` is called from
/// several threads, each with its share of them (base/side_by_side.h). A failing item is tried once
/// more and does not stop the rest. Fails when the folder cannot be written, is worked on by
/// another run, or the journal cannot be kept; then no item is lost.
[[nodiscard]] Result<RunReport> run_archive(std::vector<ArchiveItem> items,
                                            const RunOptions& options, const ItemWork& work,
                                            const ItemTold& told = {});

}  // namespace seamwright
