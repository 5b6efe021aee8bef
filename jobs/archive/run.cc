#include "jobs/archive/run.h"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <map>
#include <optional>
#include <set>
#include <system_error>
#include <utility>
#include <variant>

#include <fmt/format.h>

#include "base/file.h"
#include "base/file_guard.h"
#include "base/folder_of.h"
#include "base/leftovers.h"
#include "base/median.h"
#include "base/written_files.h"
#include "jobs/archive/folder_lock.h"
#include "jobs/archive/journal.h"
#include "jobs/archive/left_behind.h"
#include "jobs/archive/sample.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

/// What an item is made from, as two hashes.
struct Key {
  std::string inputs;
  std::string settings;
  std::vector<std::string> former_settings;  ///< the same, as earlier programs told it

  bool operator==(const Key&) const = default;
  [[nodiscard]] bool has_settings(const std::string& hash) const {
    return hash == settings ||
           std::find(former_settings.begin(), former_settings.end(), hash) != former_settings.end();
  }
};

class Runner {
 public:
  Runner(const RunOptions& options, const ItemWork& work, const ItemTold& told)
      : options_(options), work_(work), told_(told), hashes_(options.clock) {}

  Result<RunReport> run(std::vector<ArchiveItem> items) {
    std::erase_if(items, [&](const ArchiveItem& item) {
      return !in_part(item.name, options_.part, options_.parts);
    });
    std::sort(items.begin(), items.end(),
              [](const ArchiveItem& a, const ArchiveItem& b) { return a.name < b.name; });
    if (auto done = open_journals(); !done) return tl::unexpected(done.error());
    report_.usual_seconds = median(seconds_);
    choose_sample(items);
    if (!options_.dry_run) clear_leftovers(items);
    for (std::size_t i = 0; i < items.size(); ++i) {
      auto outcome = one(items[i]);
      if (!outcome) return tl::unexpected(outcome.error());
      if (outcome->state == ItemState::failed || outcome->state == ItemState::to_do) {
        keep_outputs(items[i]);
      }
      report_.items.push_back(std::move(*outcome));
      const bool go_on = !told_ || told_(report_.items.back(), static_cast<int>(i) + 1,
                                         static_cast<int>(items.size()));
      if (!go_on) report_.stopped = true;
    }
    report_.read_again = static_cast<int>(read_again_.size());
    if (options_.parts == 1 && !report_.stopped) {
      report_.left_behind = left_behind_.files(options_.folder);
    }
    return std::move(report_);
  }

 private:
  fs::path journal_folder() const { return options_.folder / options_.journal; }
  fs::path own_journal() const {
    const std::string name =
        options_.parts == 1 ? std::string("journal.log")
                            : fmt::format("journal-{}-of-{}.log", options_.part, options_.parts);
    return journal_folder() / name;
  }

  // This run's own, and what other parts have done.
  Result<void> open_journals() {
    std::error_code code;
    if (!options_.dry_run) {
      auto lock = FolderLock::take(journal_folder() / "lock", options_.parts == 1
                                                                  ? FolderLock::Kind::alone
                                                                  : FolderLock::Kind::shared);
      if (!lock) return tl::unexpected(lock.error());
      lock_.emplace(std::move(*lock));
    }
    std::vector<fs::path> others;
    for (const auto& entry : fs::directory_iterator(journal_folder(), code)) {
      const bool own = entry.path().filename() == own_journal().filename();
      if (entry.path().extension() == ".log" && (!own || options_.dry_run)) {
        others.push_back(entry.path());
      }
    }
    std::sort(others.begin(), others.end());
    for (const fs::path& other : others) {
      const auto contents = Journal::read(other);
      if (!contents) return tl::unexpected(contents.error());
      take(other, contents->entries, contents->damaged_lines);
    }
    if (options_.dry_run) return count_damage();
    auto journal = Journal::open(own_journal());
    if (!journal) return tl::unexpected(journal.error());
    journal_.emplace(std::move(*journal));
    const std::vector<nlohmann::json> entries = journal_->entries();
    take(own_journal(), entries, journal_->damaged_lines());
    if (auto counted = count_damage(); !counted) return counted;
    return journal_->append(as_json(RunLine{}));
  }

  void take(const fs::path& journal, const std::vector<nlohmann::json>& entries, int damaged) {
    for (const nlohmann::json& entry : entries) {
      const auto line = read_journal_line(entry);
      if (!line) {
        ++damaged;
        continue;
      }
      if (std::holds_alternative<RunLine>(*line) && journal == own_journal()) ++runs_before_;
      if (const auto* hash = std::get_if<HashLine>(&*line)) hashes_.remember(*hash);
      if (const auto* begun = std::get_if<BeginLine>(&*line)) interrupted_.insert(begun->name);
      if (const auto* failed = std::get_if<FailedLine>(&*line)) interrupted_.erase(failed->name);
      if (const auto* told = std::get_if<DamageLine>(&*line))
        damage_told_[told->journal] = told->lines;
      if (const auto* done = std::get_if<DoneLine>(&*line)) {
        interrupted_.erase(done->name);
        seconds_.push_back(done->seconds);
        done_[done->name].push_back(*done);
        left_behind_.written(*done);
      }
    }
    damage_[journal.filename().string()] = damaged;
  }

  // Damage is told once: what an earlier run told is passed over.
  Result<void> count_damage() {
    for (const auto& [journal, lines] : damage_) {
      const auto told = damage_told_.find(journal);
      const int known = told == damage_told_.end() ? 0 : told->second;
      if (lines <= known) continue;
      report_.damaged_lines += lines - known;
      if (!journal_) continue;
      const DamageLine line{.journal = journal, .lines = lines};
      if (auto kept = journal_->append(as_json(line)); !kept) return kept;
    }
    return {};
  }

  void choose_sample(const std::vector<ArchiveItem>& items) {
    std::vector<std::string> names;
    for (const ArchiveItem& item : items) names.push_back(item.name);
    sample_ = sample_of(std::move(names), options_.sample_every, runs_before_);
  }

  // Temporaries of runs that were killed.
  static void clear_leftovers(const std::vector<ArchiveItem>& items) {
    std::set<fs::path> folders;
    for (const ArchiveItem& item : items) {
      for (const fs::path& output : item.outputs) folders.insert(folder_of(output));
    }
    for (const fs::path& folder : folders) remove_leftovers(folder);
  }

  Result<void> keep(const HashLine& learned) {
    return journal_ ? journal_->append(as_json(learned)) : Result<void>();
  }

  // A frame that decayed is never worked from: what was made of it while it was whole is better.
  Result<std::string> input_hash(const fs::path& file) {
    auto content = hashes_.of(file, options_.read_all ? Reading::anew : Reading::remembered);
    if (!content) return tl::unexpected(content.error());
    if (content->decayed) {
      return fail({.kind = ErrorKind::io,
                   .where = file.string(),
                   .field = {},
                   .what = "holds something else than it did, though nothing has written to it",
                   .remedy = "restore it from a backup; if it is right as it is, touch it"});
    }
    if (content->learned) {
      if (auto kept = keep(*content->learned); !kept) return tl::unexpected(kept.error());
    }
    return std::move(content->sha256);
  }

  Result<std::string> output_hash(const fs::path& file, Reading reading) {
    auto content = hashes_.of(file, reading);
    if (!content) return tl::unexpected(content.error());
    if (content->decayed) {
      report_.decayed.push_back(file);
      decayed_[file] = content->sha256;
    }
    if (content->learned) {
      hashes_.remember(*content->learned);
      if (auto kept = keep(*content->learned); !kept) return tl::unexpected(kept.error());
    }
    return std::move(content->sha256);
  }

  // Of what was just written: known where this process wrote it.
  Result<std::string> fresh_hash(const fs::path& file) {
    if (auto hash = hash_of_committed(file)) return std::move(*hash);
    return output_hash(file, Reading::remembered);
  }

  Result<Key> key_of(const ArchiveItem& item) {
    std::string text;
    for (const fs::path& input : item.inputs) {
      const auto hash = input_hash(input);
      if (!hash) return tl::unexpected(hash.error());
      text += fmt::format("{} {}\n", *hash, input.filename().string());
    }
    Key key{sha256(text), sha256(item.settings), {}};
    for (const std::string& former : item.former_settings) {
      key.former_settings.push_back(sha256(former));
    }
    return key;
  }

  // An item that is not up to date may still have any of its outputs.
  void keep_outputs(const ArchiveItem& item) {
    for (const fs::path& output : item.outputs) left_behind_.keep(name_of(output));
    for (const DoneLine& line : done_[item.name]) left_behind_.keep(line);
  }

  // As the journal names it.
  std::string name_of(const fs::path& output) const {
    return output.lexically_normal()
        .lexically_proximate(options_.folder.lexically_normal())
        .generic_string();
  }

  // What further outputs there were, the same inputs and settings tell.
  bool has_outputs_of(const ArchiveItem& item, const DoneLine& done) const {
    const std::size_t count = item.outputs.size();
    if (done.outputs.size() < count) return false;
    if (done.outputs.size() > count && !item.further_outputs) return false;
    return std::equal(item.outputs.begin(), item.outputs.end(), done.outputs.begin(),
                      [this](const fs::path& output, const OutputLine& line) {
                        return name_of(output) == line.file;
                      });
  }

  fs::path file_of(const OutputLine& line) const { return options_.folder / line.file; }

  // Why its outputs are not those of that time; empty where they are.
  Result<std::string> outputs_differ(const ArchiveItem& item, const DoneLine& done) {
    if (!has_outputs_of(item, done)) return std::string("output missing");
    const bool anew = options_.read_all || sample_.contains(item.name);
    std::string differ;
    for (std::size_t i = 0; i < done.outputs.size(); ++i) {
      const OutputLine& output = done.outputs[i];
      const fs::path file = i < item.outputs.size() ? item.outputs[i] : file_of(output);
      const auto stamp = stamp_of(file);
      if (!stamp) return std::string("output missing");
      if (stamp->bytes != output.bytes) return std::string("output changed");
      const auto hash = output_hash(file, anew ? Reading::anew : Reading::remembered);
      if (!hash) return tl::unexpected(hash.error());
      if (*hash != output.sha256) differ = "output changed";
    }
    if (anew) read_again_.insert(item.name);
    return differ;
  }

  // The time it was done from the very same, with these outputs; else why it has to be done.
  Result<const DoneLine*> find_done(const ArchiveItem& item, const Key& key, std::string& why) {
    const auto known = done_.find(item.name);
    why = interrupted_.contains(item.name) ? "interrupted" : "new";
    if (known == done_.end()) return nullptr;
    for (auto done = known->second.rbegin(); done != known->second.rend(); ++done) {
      const bool last = done == known->second.rbegin();
      const bool same_inputs = done->inputs == key.inputs;
      if (!same_inputs || !key.has_settings(done->settings)) {
        if (last) why = same_inputs ? "settings changed" : "inputs changed";
        continue;
      }
      auto differ = outputs_differ(item, *done);
      if (!differ) return tl::unexpected(differ.error());
      if (differ->empty()) return &*done;
      if (last) why = *differ;
    }
    return nullptr;
  }

  Result<ItemOutcome> one(const ArchiveItem& item) {
    ItemOutcome outcome{.name = item.name};
    if (report_.stopped) {
      outcome.why = "the run was stopped";
      return outcome;
    }
    if (item.failure) return failed(std::move(outcome), *item.failure);
    auto key = key_of(item);
    if (!key) return failed_or_stop(std::move(outcome), key.error());
    const auto done = find_done(item, *key, outcome.why);
    if (!done) return failed_or_stop(std::move(outcome), done.error());
    if (*done != nullptr) {
      left_behind_.keep(**done);
      outcome.state = ItemState::unchanged;
      outcome.why.clear();
      outcome.findings = (*done)->findings;
      return outcome;
    }
    if (options_.dry_run) return outcome;
    if (auto kept = journal_->append(as_json(BeginLine{item.name})); !kept) {
      return tl::unexpected(kept.error());
    }
    return work_on(item, *key, std::move(outcome));
  }

  // What cannot be journalled ends the run; anything else is one item's failure.
  Result<ItemOutcome> failed_or_stop(ItemOutcome outcome, const Error& error) {
    if (error.field == "journal") return tl::unexpected(error);
    return failed(std::move(outcome), error);
  }

  // What the journal says was written here may be replaced (base/file_guard.h), and what it became
  // without anybody writing to it. What a person made of it may not.
  void tell_guard(const ArchiveItem& item) const {
    if (const auto done = done_.find(item.name); done != done_.end()) {
      for (const DoneLine& line : done->second) {
        if (!has_outputs_of(item, line)) continue;
        for (const OutputLine& output : line.outputs) {
          note_written(file_of(output), output.sha256);
        }
      }
    }
    for (const auto& [file, hash] : decayed_) note_written(file, hash);
  }

  Result<ItemOutcome> work_on(const ArchiveItem& item, Key key, ItemOutcome outcome) {
    tell_guard(item);
    const auto begin = std::chrono::steady_clock::now();
    Error last;
    for (int attempt = 0; attempt < 2; ++attempt) {
      const auto findings = work_(item);
      outcome.seconds =
          std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
      if (!findings) {
        last = findings.error();
        if (last.kind == ErrorKind::cancelled) {
          report_.stopped = true;
          return outcome;
        }
        continue;
      }
      // What it was made from may have been replaced meanwhile: then it is of neither.
      const auto again = key_of(item);
      if (!again) return failed_or_stop(std::move(outcome), again.error());
      if (*again != key) {
        key = *again;
        last = {.kind = ErrorKind::user_input,
                .where = item.name,
                .field = {},
                .what = "its inputs changed while it was worked on",
                .remedy = "let nothing write to them, and run again"};
        continue;
      }
      outcome.findings = *findings;
      return done(item, key, std::move(outcome));
    }
    return failed(std::move(outcome), last);
  }

  static Result<std::vector<fs::path>> outputs_of(const ArchiveItem& item) {
    std::vector<fs::path> outputs = item.outputs;
    if (!item.further_outputs) return outputs;
    const auto further = item.further_outputs();
    if (!further) return tl::unexpected(further.error());
    outputs.insert(outputs.end(), further->begin(), further->end());
    return outputs;
  }

  Result<ItemOutcome> done(const ArchiveItem& item, const Key& key, ItemOutcome outcome) {
    DoneLine line{.name = item.name,
                  .inputs = key.inputs,
                  .settings = key.settings,
                  .outputs = {},
                  .findings = outcome.findings,
                  .seconds = outcome.seconds};
    auto outputs = outputs_of(item);
    if (!outputs) return failed_or_stop(std::move(outcome), outputs.error());
    for (const fs::path& output : *outputs) {
      const auto stamp = stamp_of(output);
      if (!stamp) {
        return failed(std::move(outcome), {.kind = ErrorKind::io,
                                           .where = output.string(),
                                           .field = {},
                                           .what = "is not there after the work",
                                           .remedy = "check the output folder"});
      }
      auto hash = fresh_hash(output);
      if (!hash) return failed_or_stop(std::move(outcome), hash.error());
      line.outputs.push_back({name_of(output), stamp->bytes, std::move(*hash)});
    }
    if (auto kept = journal_->append(as_json(line)); !kept) return tl::unexpected(kept.error());
    left_behind_.keep(line);
    outcome.state = ItemState::done;
    return outcome;
  }

  Result<ItemOutcome> failed(ItemOutcome outcome, const Error& error) {
    outcome.state = ItemState::failed;
    outcome.why = error.line();
    if (!journal_) return outcome;
    const FailedLine line{.name = outcome.name, .error = outcome.why};
    if (auto kept = journal_->append(as_json(line)); !kept) return tl::unexpected(kept.error());
    return outcome;
  }

  const RunOptions& options_;
  const ItemWork& work_;
  const ItemTold& told_;
  std::optional<FolderLock> lock_;
  std::optional<Journal> journal_;
  Hashes hashes_;
  std::map<std::string, std::vector<DoneLine>> done_;  // every time, oldest first in a journal
  std::vector<double> seconds_;
  std::map<fs::path, std::string> decayed_;  // outputs, and what they hold now
  std::map<std::string, int> damage_;        // lines by journal
  std::map<std::string, int> damage_told_;   // by earlier runs
  std::set<std::string> interrupted_;        // begun, and neither done nor failed
  int runs_before_ = 0;
  LeftBehind left_behind_;
  std::set<std::string> sample_;
  std::set<std::string> read_again_;
  RunReport report_;
};

}  // namespace

int RunReport::count(ItemState state) const {
  return static_cast<int>(std::count_if(
      items.begin(), items.end(), [&](const ItemOutcome& item) { return item.state == state; }));
}

bool in_part(const std::string& name, int part, int parts) {
  if (parts <= 1) return true;
  std::uint32_t hash = 0;
  const std::string hex = sha256(name).substr(0, 8);
  std::from_chars(hex.data(), hex.data() + hex.size(), hash, 16);
  return hash % static_cast<std::uint32_t>(parts) == static_cast<std::uint32_t>(part - 1);
}

Result<RunReport> run_archive(std::vector<ArchiveItem> items, const RunOptions& options,
                              const ItemWork& work, const ItemTold& told) {
  return Runner(options, work, told).run(std::move(items));
}

}  // namespace seamwright
