#pragma once

// One shot on the bench: the state that a person edits, every step back to the beginning, and a
// journal that brings all of it back after a crash.
//
// The journal is a file beside the shot file, `NAME.shot.edits`, one JSON object a line, only ever
// appended to. Its first line holds the shot file as it was found, so that it stands by itself and
// undoing everything gives those very bytes back:
//
//   {"format": "seamwright-edits", "version": 1, "text": "…" or null}
//   {"edit": {…}}   {"undo": true}   {"redo": true}   {"saving": "<sha256>"}
//
// A last line that was cut off is dropped. A journal of another state of the shot file than the one
// on disk is not lost either: it is set aside as `NAME.shot.edits.old`. A journal that has grown by
// another hand (a second workbench on the same shot) is not appended to: the edit is refused.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "workbench/edit.h"

namespace seamwright::workbench {

class Session {
 public:
  /// `shot_file` need not be there yet; `fresh` is what it would hold then, and names the template
  /// that a touch will be of. Not thread-safe.
  [[nodiscard]] static Result<Session> open(const std::filesystem::path& shot_file,
                                            const ShotFile& fresh, int lens_count);

  [[nodiscard]] const EditState& state() const { return states_[at_]; }
  [[nodiscard]] bool can_undo() const { return at_ > 0; }
  [[nodiscard]] bool can_redo() const { return at_ + 1 < states_.size(); }
  /// The state is not what the shot file holds.
  [[nodiscard]] bool unsaved() const;
  /// Edits that the journal brought back.
  [[nodiscard]] int recovered() const { return recovered_; }
  /// Something about the journal that a person should know; empty: nothing.
  [[nodiscard]] const std::string& note() const { return note_; }

  /// Nothing has changed where it fails.
  [[nodiscard]] Result<void> edit(const Edit& edit);
  /// Nothing happens at either end.
  [[nodiscard]] Result<void> undo();
  [[nodiscard]] Result<void> redo();

  /// The shot as the state has it; back at the beginning, as it was found.
  [[nodiscard]] ShotFile shot(const std::optional<ShotTouch>& touch) const;
  /// Writes the shot file, whole or not at all; at the beginning with the very bytes it had.
  [[nodiscard]] Result<void> save(const std::optional<ShotTouch>& touch);

  [[nodiscard]] static std::filesystem::path journal_of(const std::filesystem::path& shot_file);

 private:
  Session(std::filesystem::path shot_file, ShotFile found, std::optional<std::string> text,
          std::optional<TemplateReference> reference, int lens_count);
  [[nodiscard]] Result<void> recover();
  [[nodiscard]] bool replay(const std::string& journal, std::size_t& whole_bytes);
  [[nodiscard]] bool replay_record(const std::string& line);
  [[nodiscard]] Result<void> append(const std::string& line);
  [[nodiscard]] Result<void> set_aside();

  std::filesystem::path shot_file_;
  ShotFile found_;                   // as it was at the beginning
  std::optional<std::string> text_;  // and its bytes; nothing where there was no file
  std::optional<TemplateReference> reference_;
  int lens_count_;
  std::vector<EditState> states_;  // never empty
  std::size_t at_ = 0;
  std::optional<std::string> saved_sha256_;  // of the last "saving"
  EditState saved_;                          // what the shot file holds
  std::uintmax_t journal_bytes_ = 0;         // as this session left it; 0: none yet
  int recovered_ = 0;
  std::string note_;
};

}  // namespace seamwright::workbench
