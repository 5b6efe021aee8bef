#include "apps/workbench/session.h"

#include <system_error>

#include <fmt/format.h>

#include "base/file.h"

namespace seamwright::workbench {
namespace fs = std::filesystem;

namespace {

bool is_there(const fs::path& path) {
  std::error_code ignored;
  return fs::symlink_status(path, ignored).type() != fs::file_type::not_found;
}

// As an edit alone would stand in a shot file.
struct EditInShot {
  ShotFile shot;

  void operator()(const AddTie& edit) { shot.manual_ties = {edit.tie}; }
  void operator()(const ChangeTie& edit) { shot.manual_ties = {edit.tie}; }
  void operator()(const AddStroke& edit) { shot.seam = {edit.stroke}; }
  void operator()(const AddVertical& edit) { shot.verticals = {edit.edge}; }
  template <class Other>
  void operator()(const Other& /*brings nothing*/) {}
};

}  // namespace

fs::path Session::journal_of(const fs::path& shot_file) {
  fs::path journal = shot_file;
  return journal.replace_extension(".edits");  // NAME.shot.yaml → NAME.shot.edits
}

Session::Session(fs::path shot_file, EditHistory history,
                 std::optional<TemplateReference> reference)
    : shot_file_(std::move(shot_file)),
      history_(std::move(history)),
      reference_(std::move(reference)) {
  if (history_.text()) known_sha256_ = sha256(*history_.text());
}

Result<Session> Session::open(const fs::path& shot_file, const ShotFile& fresh, int lens_count) {
  // The journal first: once it is held, no other workbench saves the shot.
  std::optional<AppendFile> journal;
  std::optional<Error> shut_out;
  if (is_there(journal_of(shot_file))) {
    auto held = AppendFile::open(journal_of(shot_file), AppendFile::Presence::there);
    if (held) {
      journal = std::move(*held);
    } else {
      shut_out = held.error();
    }
  }
  std::optional<std::string> text;
  ShotFile found = fresh;
  if (fs::exists(shot_file)) {
    auto bytes = read_file(shot_file);
    if (!bytes) return tl::unexpected(bytes.error());
    auto parsed = parse_shot_file(*bytes, shot_file.string());
    if (!parsed) return tl::unexpected(parsed.error());
    found = std::move(*parsed);
    text = std::move(*bytes);
  }
  ShotFile written = found;
  if (fresh.rig_template) written.rig_template = fresh.rig_template;
  if (auto readable = checked_shot_text(shot_file, written); !readable) {
    return tl::unexpected(readable.error());
  }
  Session session(shot_file, EditHistory(std::move(found), std::move(text), lens_count),
                  fresh.rig_template);
  session.journal_ = std::move(journal);
  session.shut_out_ = std::move(shut_out);
  if (auto done = session.recover(); !done) return tl::unexpected(done.error());
  return session;
}

Result<void> Session::recover() {
  if (!journal_ && !shut_out_) return {};
  const auto bytes = journal_ ? journal_->read(kMostJournal_bytes)
                              : AppendFile::look(journal_of(shot_file_), kMostJournal_bytes);
  if (!bytes) return tl::unexpected(bytes.error());
  std::size_t whole_bytes = 0;
  auto replayed = history_.replayed(*bytes, whole_bytes);
  if (shut_out_) {
    if (replayed) history_ = std::move(*replayed);
    note_ = fmt::format("no edits here: {} {}", journal_of(shot_file_).filename().string(),
                        shut_out_->what);
    return {};
  }
  if (!replayed && !EditHistory::is_torn_header(*bytes)) return set_aside();
  if (replayed) history_ = std::move(*replayed);
  return whole_bytes < bytes->size() ? journal_->cut(whole_bytes) : Result<void>();
}

Result<void> Session::set_aside() {
  const fs::path journal = journal_of(shot_file_);
  fs::path old = journal;
  old += ".old";
  for (int i = 2; is_there(old); ++i) old = journal.string() + fmt::format(".old{}", i);
  std::error_code code;
  fs::rename(journal, old, code);
  if (code) {
    return fail({.kind = ErrorKind::io,
                 .where = journal.string(),
                 .field = {},
                 .what = "cannot be set aside: " + code.message(),
                 .remedy = "make the folder writable; the shot file is as it was"});
  }
  journal_.reset();
  note_ = fmt::format("edits that belong to another state of this shot were set aside as {}",
                      old.filename().string());
  return {};
}

Result<void> Session::append(const std::string& line, std::size_t most_bytes) {
  if (shut_out_) return fail(*shut_out_);
  if (!journal_) {
    auto made = AppendFile::open(journal_of(shot_file_), AppendFile::Presence::missing);
    if (!made) {
      // Nothing was edited here yet: what another program has begun can be looked at.
      if (is_there(journal_of(shot_file_))) shut_out_ = made.error();
      return tl::unexpected(made.error());
    }
    journal_ = std::move(*made);
  }
  if (journal_->size_bytes() + line.size() >= most_bytes) {
    return fail({.kind = ErrorKind::user_input,
                 .where = journal_of(shot_file_).string(),
                 .field = {},
                 .what = "is full",
                 .remedy = "save, close the workbench and move this file away: all steps to undo "
                           "are in it"});
  }
  if (journal_->size_bytes() == 0) {
    if (auto done = journal_->append(history_.header_line()); !done) return done;
  }
  return journal_->append(line);
}

bool Session::unsaved() const {
  const EditState& saved = history_.saved();
  return state().ties_in_use() != saved.ties_in_use() || state().seam() != saved.seam() ||
         state().edges() != saved.edges();
}

// What the reader would refuse of one tie, stroke or edge, to the last digit's rounding, is refused
// while it is drawn rather than when all is saved.
std::optional<Error> Session::misfit(const Edit& edit) const {
  EditInShot in_shot;
  in_shot.shot.frames = history_.found().frames;
  in_shot.shot.intake = history_.found().intake;
  std::visit([&](const auto& one) { in_shot(one); }, edit);
  const auto text = checked_shot_text({}, in_shot.shot);
  if (text) return std::nullopt;
  return text.error();
}

Result<void> Session::edit(const Edit& edit) {
  auto next = history_.after(edit);
  if (!next) return tl::unexpected(next.error());
  if (auto error = misfit(edit)) return fail(std::move(*error));
  const std::string line = EditHistory::edit_line(edit, *next);
  if (auto done = append(line, kMostJournal_bytes - kForSteps_bytes); !done) return done;
  history_.add(std::move(*next));
  return {};
}

Result<void> Session::undo() {
  if (!can_undo()) return {};
  if (auto done = append(EditHistory::undo_line()); !done) return done;
  history_.undo();
  return {};
}

Result<void> Session::redo() {
  if (!can_redo()) return {};
  if (auto done = append(EditHistory::redo_line()); !done) return done;
  history_.redo();
  return {};
}

ShotFile Session::shot(const std::optional<ShotTouch>& touch) const {
  ShotFile shot = history_.found();
  if (!can_undo()) return shot;
  shot.manual_ties = state().ties_in_use();
  shot.seam = state().seam();
  shot.verticals = state().edges();
  shot.touch = touch;
  if (reference_) shot.rig_template = reference_;
  return shot;
}

Result<void> Session::check_shot_file() const {
  std::error_code code;
  if (!fs::exists(shot_file_, code)) return {};
  const auto hash = sha256_of_file(shot_file_);
  if (!hash) return tl::unexpected(hash.error());
  if (known_sha256_ == *hash) return {};
  return fail({.kind = ErrorKind::user_input,
               .where = shot_file_.string(),
               .field = {},
               .what = "was changed by another program since it was read here",
               .remedy = "move it away to save these edits, or start the workbench again to work "
                         "with it as it is now: the edits are then set aside"});
}

Result<void> Session::save(const std::optional<ShotTouch>& touch) {
  const auto bytes = !can_undo() && history_.text() ? Result<std::string>(*history_.text())
                                                    : checked_shot_text(shot_file_, shot(touch));
  if (!bytes) return tl::unexpected(bytes.error());
  if (auto done = check_shot_file(); !done) return done;
  const std::string hash = sha256(*bytes);
  if (auto done = append(EditHistory::saving_line(hash)); !done) return done;
  if (auto done = write_shot_text(shot_file_, *bytes); !done) return done;
  known_sha256_ = hash;
  history_.save();
  return {};
}

}  // namespace seamwright::workbench
