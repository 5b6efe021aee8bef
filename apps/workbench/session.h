#pragma once

// One shot on the bench: the state that a person edits, every step back to the beginning, and a
// journal that brings all of it back after a crash.
//
// The journal is a file beside the shot file, `NAME.shot.edits`, one JSON object a line, only ever
// appended to, each line on the disk before the edit is done (base/append_file.h). Its first line
// holds the shot file as it was found, so that it stands by itself and undoing everything gives
// those very bytes back:
//
//   {"format": "seamwright-edits", "version": 2, "text": "…" or null}
//   {"edit": {…}, "id": of what it adds}   {"undo": true}   {"redo": true}   {"saving": "<sha256>"}
//
// A last line that was cut off is dropped. A journal of another state of the shot file than the one
// on disk is not lost either: it is set aside as `NAME.shot.edits.old`. A Save that was begun and
// did not come to be is no other state: all that the journal says was begun is known again.
//
// A shot belongs to one program at a time, from its first edit on. Another one sees it and may not
// edit it.

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>

#include "apps/workbench/edit.h"
#include "apps/workbench/edit_history.h"
#include "base/append_file.h"
#include "base/result.h"

namespace seamwright::workbench {

class Session {
 public:
  /// `shot_file` need not be there yet; `fresh` is what it would hold then, and names the template
  /// that a touch will be of. Fails where no shot file could name such frames, and where the
  /// journal is a link or no plain file. Not thread-safe.
  [[nodiscard]] static Result<Session> open(const std::filesystem::path& shot_file,
                                            const ShotFile& fresh, int lens_count);

  [[nodiscard]] const EditState& state() const { return history_.state(); }
  [[nodiscard]] bool can_undo() const { return history_.can_undo(); }
  [[nodiscard]] bool can_redo() const { return history_.can_redo(); }
  /// The state is not what the shot file holds.
  [[nodiscard]] bool unsaved() const;
  /// Edits that the journal brought back.
  [[nodiscard]] int recovered() const { return history_.recovered(); }
  /// Something about the journal that a person should know; empty: nothing.
  [[nodiscard]] const std::string& note() const { return note_; }
  /// Another program has the shot, or the folder cannot be written to: every edit is refused. A
  /// session that is opened later may get in.
  [[nodiscard]] bool shut_out() const { return shut_out_.has_value(); }

  /// Nothing has changed where it fails.
  [[nodiscard]] Result<void> edit(const Edit& edit);
  /// Nothing happens at either end.
  [[nodiscard]] Result<void> undo();
  [[nodiscard]] Result<void> redo();

  /// The shot as the state has it; back at the beginning, as it was found.
  [[nodiscard]] ShotFile shot(const std::optional<ShotTouch>& touch) const;
  /// Writes the shot file, whole or not at all, and only what reads back; at the beginning the very
  /// bytes it had. Refused where another program has changed the file.
  [[nodiscard]] Result<void> save(const std::optional<ShotTouch>& touch);

  [[nodiscard]] static std::filesystem::path journal_of(const std::filesystem::path& shot_file);
  /// Of the journal, read and written. Edits leave room for undo, redo and Save.
  static constexpr std::size_t kMostJournal_bytes = std::size_t{64} << 20U;
  static constexpr std::size_t kForSteps_bytes = std::size_t{1} << 20U;

 private:
  Session(std::filesystem::path shot_file, EditHistory history,
          std::optional<TemplateReference> reference);
  [[nodiscard]] Result<void> recover();
  [[nodiscard]] Result<void> append(const std::string& line,
                                    std::size_t most_bytes = kMostJournal_bytes);
  [[nodiscard]] Result<void> set_aside();
  [[nodiscard]] Result<void> check_shot_file() const;
  [[nodiscard]] std::optional<Error> misfit(const Edit& edit) const;

  std::filesystem::path shot_file_;
  EditHistory history_;
  std::optional<TemplateReference> reference_;
  std::optional<std::string> known_sha256_;  // of the shot file as it was read or saved last
  std::optional<AppendFile> journal_;        // none yet, or shut out
  std::optional<Error> shut_out_;
  std::string note_;
};

}  // namespace seamwright::workbench
