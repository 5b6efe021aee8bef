#pragma once

// Every state of a shot back to the beginning, and the journal's lines that bring them back
// (session.h tells what the journal is). Text and values only: no files.

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "apps/workbench/edit.h"
#include "base/result.h"
#include "templates/shot_file.h"

namespace seamwright::workbench {

class EditHistory {
 public:
  /// `text`: the shot file's bytes; nothing where there is no file.
  EditHistory(ShotFile found, std::optional<std::string> text, int lens_count);

  [[nodiscard]] const ShotFile& found() const { return found_; }
  [[nodiscard]] const std::optional<std::string>& text() const { return text_; }
  [[nodiscard]] const EditState& state() const { return states_[at_]; }
  [[nodiscard]] bool can_undo() const { return at_ > 0; }
  [[nodiscard]] bool can_redo() const { return at_ + 1 < states_.size(); }
  /// What the shot file holds.
  [[nodiscard]] const EditState& saved() const { return saved_; }
  /// Edits that a journal brought back.
  [[nodiscard]] int recovered() const { return recovered_; }

  /// The state that an edit would lead to.
  [[nodiscard]] Result<EditState> after(const Edit& edit) const;
  void add(EditState next);
  void undo() { --at_; }
  void redo() { ++at_; }
  void save() { saved_ = state(); }

  /// Lines of the journal.
  [[nodiscard]] std::string header_line() const;
  [[nodiscard]] static std::string edit_line(const Edit& edit, const EditState& next);
  [[nodiscard]] static std::string undo_line();
  [[nodiscard]] static std::string redo_line();
  [[nodiscard]] static std::string saving_line(const std::string& sha256);

  /// This history, as found, with a journal's edits; `whole_bytes` is where its last whole line
  /// ends. Nothing where it is no journal of this shot file as it is on the disk.
  [[nodiscard]] std::optional<EditHistory> replayed(std::string_view journal,
                                                    std::size_t& whole_bytes) const;
  /// What a program leaves that ends before it has written the first line.
  [[nodiscard]] static bool is_torn_header(std::string_view journal);

 private:
  [[nodiscard]] bool begin(const std::string& line);
  [[nodiscard]] bool replay(const std::string& line);
  [[nodiscard]] bool replay_edit(const nlohmann::json& record);
  [[nodiscard]] bool settle(const std::optional<std::string>& on_disk);

  // A Save that was begun. Which of them came to be, the shot file on the disk tells.
  struct Saving {
    std::string sha256;
    EditState state;
  };

  ShotFile found_;                   // as it was at the beginning
  std::optional<std::string> text_;  // and its bytes
  int lens_count_;
  std::vector<EditState> states_;  // never empty
  std::size_t at_ = 0;
  EditState saved_;
  NextIds next_;  // beyond every id that was ever given, undone ones too
  std::vector<Saving> savings_;
  int recovered_ = 0;
};

}  // namespace seamwright::workbench
