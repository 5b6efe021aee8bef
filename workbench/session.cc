#include "workbench/session.h"

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <memory>
#include <system_error>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/file.h"
#include "workbench/edit_json.h"

namespace seamwright::workbench {
namespace fs = std::filesystem;
using nlohmann::json;

namespace {

constexpr std::string_view kFormat = "seamwright-edits";
constexpr int kVersion = 1;

json header(const std::optional<std::string>& text) {
  json first = {{"format", kFormat}, {"version", kVersion}, {"text", nullptr}};
  if (text) first["text"] = *text;
  return first;
}

Error journal_fault(const fs::path& journal, const std::string& what) {
  return {.kind = ErrorKind::io,
          .where = journal.string(),
          .field = {},
          .what = what,
          .remedy = "make the folder writable and free some space; the shot file is as it was"};
}

}  // namespace

fs::path Session::journal_of(const fs::path& shot_file) {
  fs::path journal = shot_file;
  return journal.replace_extension(".edits");  // NAME.shot.yaml → NAME.shot.edits
}

Session::Session(fs::path shot_file, ShotFile found, std::optional<std::string> text,
                 std::optional<TemplateReference> reference, int lens_count)
    : shot_file_(std::move(shot_file)),
      found_(std::move(found)),
      text_(std::move(text)),
      reference_(std::move(reference)),
      lens_count_(lens_count),
      states_{state_of(found_)},
      saved_(states_.front()) {}

Result<Session> Session::open(const fs::path& shot_file, const ShotFile& fresh, int lens_count) {
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
  Session session(shot_file, std::move(found), std::move(text), fresh.rig_template, lens_count);
  if (auto done = session.recover(); !done) return tl::unexpected(done.error());
  return session;
}

Result<void> Session::recover() {
  const fs::path journal = journal_of(shot_file_);
  if (!fs::exists(journal)) return {};
  const auto bytes = read_file(journal);
  if (!bytes) return tl::unexpected(bytes.error());
  const Session as_found = *this;
  std::size_t whole_bytes = 0;
  if (!replay(*bytes, whole_bytes)) {
    *this = as_found;
    return set_aside();
  }
  if (whole_bytes < bytes->size()) {
    std::error_code code;
    fs::resize_file(journal, whole_bytes, code);
    if (code) return fail(journal_fault(journal, "cannot be mended: " + code.message()));
  }
  journal_bytes_ = whole_bytes;
  return {};
}

bool Session::replay(const std::string& journal, std::size_t& whole_bytes) {
  const auto on_disk = text_;
  std::size_t begin = 0;
  for (std::size_t end = journal.find('\n'); end != std::string::npos;
       begin = end + 1, end = journal.find('\n', begin)) {
    const std::string line = journal.substr(begin, end - begin);
    if (begin == 0) {
      const auto first = parsed(line);
      if (!first || !first->is_object() || !first->contains("text")) return false;
      const json& text = (*first)["text"];
      if (first->value("format", json()) != kFormat || first->value("version", json()) != kVersion)
        return false;
      if (!text.is_null() && !text.is_string()) return false;
      if (text.is_string()) {
        auto shot = parse_shot_file(text.get<std::string>(), shot_file_.string());
        if (!shot) return false;
        found_ = std::move(*shot);
        text_ = text.get<std::string>();
      } else if (text_) {  // the file came to be by saving
        found_.manual_ties.clear();
        found_.seam.clear();
        found_.verticals.clear();
        found_.touch.reset();
        text_.reset();
      }
      states_ = {state_of(found_)};
      saved_ = states_.front();
    } else if (!replay_record(line)) {
      return false;
    }
    whole_bytes = end + 1;
  }
  if (whole_bytes == 0) return false;
  // It must be the journal of the file as it is on disk now.
  if (on_disk == text_ && saved_ != states_.front()) {
    saved_ = states_.front();  // killed between the journal's line and the file
    return true;
  }
  return on_disk == text_ || (on_disk && saved_sha256_ == sha256(*on_disk));
}

bool Session::replay_record(const std::string& line) {
  const auto record = parsed(line);
  if (!record || !record->is_object()) return false;
  if (record->contains("edit")) {
    const auto known = edit_of((*record)["edit"]);
    if (!known) return false;
    auto next = after(state(), *known, lens_count_);
    if (!next) return false;
    states_.resize(at_ + 1);
    states_.push_back(std::move(*next));
    ++at_;
    ++recovered_;
    return true;
  }
  if (record->contains("undo") && can_undo()) return --at_, true;
  if (record->contains("redo") && can_redo()) return ++at_, true;
  if (record->contains("saving") && (*record)["saving"].is_string()) {
    saved_sha256_ = (*record)["saving"].get<std::string>();
    saved_ = state();
    return true;
  }
  return false;
}

Result<void> Session::set_aside() {
  const fs::path journal = journal_of(shot_file_);
  fs::path old = journal;
  old += ".old";
  for (int i = 2; fs::exists(old); ++i) old = journal.string() + fmt::format(".old{}", i);
  std::error_code code;
  fs::rename(journal, old, code);
  if (code) return fail(journal_fault(journal, "cannot be set aside: " + code.message()));
  note_ = fmt::format("edits that belong to another state of this shot were set aside as {}",
                      old.filename().string());
  return {};
}

Result<void> Session::append(const std::string& line) {
  const fs::path journal = journal_of(shot_file_);
  const std::string bytes = line + "\n";
  std::error_code code;
  const std::uintmax_t found = fs::exists(journal) ? fs::file_size(journal, code) : 0;
  if (code || found != journal_bytes_) {
    return fail({.kind = ErrorKind::user_input,
                 .where = journal.string(),
                 .field = {},
                 .what = "was changed by another program",
                 .remedy = "close the other workbench on this shot, then start this one again"});
  }
  if (journal_bytes_ == 0) {
    const std::string first = header(text_).dump() + "\n";
    if (auto done = write_file(journal, first); !done) return done;
    journal_bytes_ = first.size();
  }
  struct Closer {
    void operator()(std::FILE* file) const { std::fclose(file); }
  };
  const std::unique_ptr<std::FILE, Closer> file(std::fopen(journal.string().c_str(), "ab"));
  if (!file || std::fwrite(bytes.data(), 1, bytes.size(), file.get()) != bytes.size() ||
      std::fflush(file.get()) != 0) {
    return fail(journal_fault(journal, "cannot be written"));
  }
  journal_bytes_ += bytes.size();
  return {};
}

bool Session::unsaved() const {
  return state().ties_in_use() != saved_.ties_in_use() || state().strokes != saved_.strokes ||
         state().verticals != saved_.verticals;
}

Result<void> Session::edit(const Edit& edit) {
  auto next = after(state(), edit, lens_count_);
  if (!next) return tl::unexpected(next.error());
  if (auto done = append(json{{"edit", as_json(edit)}}.dump()); !done) return done;
  states_.resize(at_ + 1);
  states_.push_back(std::move(*next));
  ++at_;
  return {};
}

Result<void> Session::undo() {
  if (!can_undo()) return {};
  if (auto done = append(json{{"undo", true}}.dump()); !done) return done;
  --at_;
  return {};
}

Result<void> Session::redo() {
  if (!can_redo()) return {};
  if (auto done = append(json{{"redo", true}}.dump()); !done) return done;
  ++at_;
  return {};
}

ShotFile Session::shot(const std::optional<ShotTouch>& touch) const {
  if (at_ == 0) return found_;
  ShotFile shot = found_;
  shot.manual_ties = state().ties_in_use();
  shot.seam = state().strokes;
  shot.verticals = state().verticals;
  shot.touch = touch;
  if (reference_) shot.rig_template = reference_;
  return shot;
}

Result<void> Session::save(const std::optional<ShotTouch>& touch) {
  const std::string bytes = at_ == 0 && text_ ? *text_ : format_shot_file(shot(touch));
  if (auto done = append(json{{"saving", sha256(bytes)}}.dump()); !done) return done;
  if (auto done = write_file(shot_file_, bytes); !done) return done;
  saved_sha256_ = sha256(bytes);
  saved_ = state();
  return {};
}

}  // namespace seamwright::workbench
