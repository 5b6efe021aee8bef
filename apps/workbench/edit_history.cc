#include "apps/workbench/edit_history.h"

#include <algorithm>
#include <cstdint>

#include "apps/workbench/edit_json.h"
#include "base/file.h"

namespace seamwright::workbench {

namespace {

using nlohmann::json;

constexpr std::string_view kJournalFormat = "seamwright-edits";
// Version 1 removed strokes and upright edges by their place in the list.
constexpr int kJournalVersion = 2;
constexpr std::string_view kHeaderBegins = R"({"format":"seamwright-edits",)";

// Where an edit adds something, the id that it gets, in a state or as the next one.
template <class Ids>
auto added_id(const Edit& edit, Ids& next) -> decltype(&next.tie) {
  if (std::holds_alternative<AddTie>(edit)) return &next.tie;
  if (std::holds_alternative<AddStroke>(edit)) return &next.stroke;
  if (std::holds_alternative<AddVertical>(edit)) return &next.vertical;
  return nullptr;
}

// Version 1's {"kind": "remove-stroke", "index": 0} as it is said now; others as they are.
template <class T>
void name_by_id(json& edit, const char* kind, const std::vector<T>& list) {
  if (!edit.is_object() || !edit.contains("index") || edit.value("kind", json()) != kind) return;
  const json index = edit["index"];
  if (!index.is_number_unsigned() || index.get<std::size_t>() >= list.size()) return;
  edit.erase("index");
  edit["id"] = list[index.get<std::size_t>()].id;
}

}  // namespace

EditHistory::EditHistory(ShotFile found, std::optional<std::string> text, int lens_count)
    : found_(std::move(found)),
      text_(std::move(text)),
      lens_count_(lens_count),
      states_{state_of(found_)},
      saved_(states_.front()),
      next_(states_.front().next) {}

Result<EditState> EditHistory::after(const Edit& edit) const {
  EditState from = state();
  from.next = next_;
  return workbench::after(from, edit, lens_count_);
}

void EditHistory::add(EditState next) {
  next_ = {std::max(next_.tie, next.next.tie), std::max(next_.stroke, next.next.stroke),
           std::max(next_.vertical, next.next.vertical)};
  states_.resize(at_ + 1);
  states_.push_back(std::move(next));
  ++at_;
}

std::string EditHistory::header_line() const {
  json first = {{"format", kJournalFormat}, {"version", kJournalVersion}, {"text", nullptr}};
  if (text_) first["text"] = *text_;
  return first.dump();
}

std::string EditHistory::edit_line(const Edit& edit, const EditState& next) {
  json record = {{"edit", as_json(edit)}};
  if (const int* following = added_id(edit, next.next)) record["id"] = *following - 1;
  return record.dump();
}

std::string EditHistory::undo_line() { return json{{"undo", true}}.dump(); }
std::string EditHistory::redo_line() { return json{{"redo", true}}.dump(); }
std::string EditHistory::saving_line(const std::string& sha256) {
  return json{{"saving", sha256}}.dump();
}

bool EditHistory::is_torn_header(std::string_view journal) {
  return journal.find('\n') == std::string_view::npos &&
         journal.substr(0, kHeaderBegins.size()) == kHeaderBegins.substr(0, journal.size());
}

std::optional<EditHistory> EditHistory::replayed(std::string_view journal,
                                                 std::size_t& whole_bytes) const {
  EditHistory history = *this;
  whole_bytes = 0;
  for (std::size_t end; (end = journal.find('\n', whole_bytes)) != std::string_view::npos;) {
    const std::string line(journal.substr(whole_bytes, end - whole_bytes));
    if (!(whole_bytes == 0 ? history.begin(line) : history.replay(line))) return std::nullopt;
    whole_bytes = end + 1;
  }
  if (whole_bytes == 0 || !history.settle(text_)) return std::nullopt;
  return history;
}

bool EditHistory::begin(const std::string& line) {
  const auto first = parsed(line);
  if (!first || !first->is_object() || !first->contains("text")) return false;
  const json version = first->value("version", json());
  if (first->value("format", json()) != kJournalFormat) return false;
  if (version != 1 && version != kJournalVersion) return false;
  const json& text = (*first)["text"];
  if (text.is_string()) {
    auto shot = parse_shot_file(text.get<std::string>(), {});
    if (!shot) return false;
    found_ = std::move(*shot);
    text_ = text.get<std::string>();
  } else if (!text.is_null()) {
    return false;
  } else if (text_) {  // the file came to be by saving
    found_.manual_ties.clear();
    found_.seam.clear();
    found_.verticals.clear();
    found_.touch.reset();
    text_.reset();
  }
  *this = EditHistory(std::move(found_), std::move(text_), lens_count_);
  return true;
}

bool EditHistory::replay(const std::string& line) {
  const auto record = parsed(line);
  if (!record || !record->is_object()) return false;
  if (record->contains("edit")) return replay_edit(*record);
  if (record->contains("undo") && can_undo()) return undo(), true;
  if (record->contains("redo") && can_redo()) return redo(), true;
  if (record->contains("saving") && (*record)["saving"].is_string()) {
    savings_.push_back({(*record)["saving"].get<std::string>(), state()});
    return true;
  }
  return false;
}

bool EditHistory::replay_edit(const json& record) {
  json edit = record["edit"];
  name_by_id(edit, "remove-stroke", state().strokes);
  name_by_id(edit, "remove-vertical", state().verticals);
  const auto known = edit_of(edit);
  if (!known) return false;
  EditState from = state();
  if (int* given = added_id(*known, from.next); given != nullptr && record.contains("id")) {
    const json& id = record["id"];
    if (!id.is_number_unsigned() || id.get<std::uint64_t>() > 1'000'000'000) return false;
    *given = id.get<int>();
  }
  auto next = workbench::after(from, *known, lens_count_);
  if (!next) return false;
  add(std::move(*next));
  ++recovered_;
  return true;
}

// Of all the Saves that were begun, a kill, a full disk or a closed folder may have stopped any:
// the latest whose bytes are on the disk is the one that it holds.
bool EditHistory::settle(const std::optional<std::string>& on_disk) {
  if (on_disk) {
    const std::string hash = sha256(*on_disk);
    const auto made = std::find_if(savings_.rbegin(), savings_.rend(),
                                   [&](const Saving& saving) { return saving.sha256 == hash; });
    if (made != savings_.rend()) {
      saved_ = made->state;
      return true;
    }
  }
  return on_disk == text_;
}

}  // namespace seamwright::workbench
