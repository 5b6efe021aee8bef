#include "jobs/archive/run.h"

#include <algorithm>
#include <atomic>
#include <charconv>
#include <chrono>
#include <mutex>
#include <optional>
#include <set>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "base/file_guard.h"
#include "base/folder_of.h"
#include "base/leftovers.h"
#include "base/median.h"
#include "base/side_by_side.h"
#include "jobs/archive/file_contents.h"
#include "jobs/archive/folder_lock.h"
#include "jobs/archive/item_key.h"
#include "jobs/archive/item_outputs.h"
#include "jobs/archive/journal.h"
#include "jobs/archive/left_behind.h"
#include "jobs/archive/past_runs.h"
#include "jobs/archive/sample.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

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
    RunReport report;
    report.damaged_lines = damaged_lines_;
    report.usual_seconds = median(past_.seconds);
    for (const auto& [name, lines] : past_.done) {
      for (const DoneLine& line : lines) left_behind_.written(line);
    }
    choose_sample(items);
    if (!options_.dry_run) clear_leftovers(items);
    report.items.resize(items.size());
    side_by_side(0, static_cast<int>(items.size()), options_.at_once, [&](int i) {
      const auto at = static_cast<std::size_t>(i);
      if (auto outcome = one(items[at])) {
        report.items[at] = std::move(*outcome);
        tell(items[at], report.items[at], items.size());
      } else {
        end_with(outcome.error());
      }
    });
    if (failure_) return fail(std::move(*failure_));
    report.stopped = stopped_;
    report.read_again = static_cast<int>(read_again_.size());
    for (const auto& [file, hash] : contents_.decayed()) report.decayed.push_back(file);
    if (options_.parts == 1 && !stopped_) {
      report.left_behind = left_behind_.files(options_.folder);
    }
    return report;
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
    past_.take(journal.filename().string(), entries, damaged, journal == own_journal(), hashes_);
  }

  // Damage is told once: what an earlier run told is passed over.
  Result<void> count_damage() {
    for (const DamageLine& line : past_.damage_to_tell()) {
      const auto told = past_.damage_told.find(line.journal);
      damaged_lines_ += line.lines - (told == past_.damage_told.end() ? 0 : told->second);
      if (!journal_) continue;
      if (auto kept = keep(as_json(line)); !kept) return kept;
    }
    return {};
  }

  void choose_sample(const std::vector<ArchiveItem>& items) {
    std::vector<std::string> names;
    for (const ArchiveItem& item : items) names.push_back(item.name);
    sample_ = sample_of(std::move(names), options_.sample_every, past_.own_runs);
  }

  // Temporaries of runs that were killed.
  static void clear_leftovers(const std::vector<ArchiveItem>& items) {
    std::set<fs::path> folders;
    for (const ArchiveItem& item : items) {
      for (const fs::path& output : item.outputs) folders.insert(folder_of(output));
    }
    for (const fs::path& folder : folders) remove_leftovers(folder);
  }

  Result<void> keep(const nlohmann::json& line) {
    const std::scoped_lock lock(mutex_);
    return journal_ ? journal_->append(line) : Result<void>();
  }

  void tell(const ArchiveItem& item, const ItemOutcome& outcome, std::size_t of) {
    const std::scoped_lock lock(mutex_);
    if (outcome.state == ItemState::failed || outcome.state == ItemState::to_do) keep_outputs(item);
    ++told_count_;
    if (told_ && !told_(outcome, told_count_, static_cast<int>(of))) stopped_ = true;
  }

  // What cannot be journalled ends the run.
  void end_with(const Error& error) {
    const std::scoped_lock lock(mutex_);
    if (!failure_) failure_ = error;
    stopped_ = true;
  }

  // An item that is not up to date may still have any of its outputs.
  void keep_outputs(const ArchiveItem& item) {
    for (const fs::path& output : item.outputs)
      left_behind_.keep(output_name(options_.folder, output));
    const auto known = past_.done.find(item.name);
    if (known == past_.done.end()) return;
    for (const DoneLine& line : known->second) left_behind_.keep(line);
  }

  void keep_output(const DoneLine& line) {
    const std::scoped_lock lock(mutex_);
    left_behind_.keep(line);
  }

  // Why its outputs are not those of that time; empty where they are.
  Result<std::string> outputs_differ(const ArchiveItem& item, const DoneLine& done) {
    if (!has_outputs_of(options_.folder, item, done)) return std::string("output missing");
    const bool anew = options_.read_all || sample_.contains(item.name);
    std::string differ;
    for (std::size_t i = 0; i < done.outputs.size(); ++i) {
      const OutputLine& output = done.outputs[i];
      const fs::path file =
          i < item.outputs.size() ? item.outputs[i] : output_file(options_.folder, output);
      const auto stamp = stamp_of(file);
      if (!stamp) return std::string("output missing");
      if (stamp->bytes != output.bytes) return std::string("output changed");
      const auto hash = contents_.of_output(file, anew ? Reading::anew : Reading::remembered);
      if (!hash) return tl::unexpected(hash.error());
      if (*hash != output.sha256) differ = "output changed";
    }
    if (anew) {
      const std::scoped_lock lock(mutex_);
      read_again_.insert(item.name);
    }
    return differ;
  }

  // The time it was done from the very same, with these outputs; else why it has to be done.
  Result<const DoneLine*> find_done(const ArchiveItem& item, const ItemKey& key, std::string& why) {
    const auto known = past_.done.find(item.name);
    why = past_.interrupted.contains(item.name) ? "interrupted" : "new";
    if (known == past_.done.end()) return nullptr;
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
    if (stopped_) {
      outcome.why = "the run was stopped";
      return outcome;
    }
    if (item.failure) return failed(std::move(outcome), *item.failure);
    auto key = key_of(item, contents_);
    if (!key) return failed_or_stop(std::move(outcome), key.error());
    const auto done = find_done(item, *key, outcome.why);
    if (!done) return failed_or_stop(std::move(outcome), done.error());
    if (*done != nullptr) {
      keep_output(**done);
      outcome.state = ItemState::unchanged;
      outcome.why.clear();
      outcome.findings = (*done)->findings;
      return outcome;
    }
    if (options_.dry_run) return outcome;
    if (auto kept = keep(as_json(BeginLine{item.name})); !kept) {
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
    if (const auto done = past_.done.find(item.name); done != past_.done.end()) {
      for (const DoneLine& line : done->second) {
        if (!has_outputs_of(options_.folder, item, line)) continue;
        for (const OutputLine& output : line.outputs) {
          note_written(output_file(options_.folder, output), output.sha256);
        }
      }
    }
    for (const auto& [file, hash] : contents_.decayed()) note_written(file, hash);
  }

  Result<ItemOutcome> work_on(const ArchiveItem& item, ItemKey key, ItemOutcome outcome) {
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
          stopped_ = true;
          return outcome;
        }
        continue;
      }
      // What it was made from may have been replaced meanwhile: then it is of neither.
      const auto again = key_of(item, contents_);
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

  Result<ItemOutcome> done(const ArchiveItem& item, const ItemKey& key, ItemOutcome outcome) {
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
      auto hash = contents_.of_fresh(output);
      if (!hash) return failed_or_stop(std::move(outcome), hash.error());
      line.outputs.push_back(
          {output_name(options_.folder, output), stamp->bytes, std::move(*hash)});
    }
    if (auto kept = keep(as_json(line)); !kept) return tl::unexpected(kept.error());
    keep_output(line);
    outcome.state = ItemState::done;
    return outcome;
  }

  Result<ItemOutcome> failed(ItemOutcome outcome, const Error& error) {
    outcome.state = ItemState::failed;
    outcome.why = error.line();
    const FailedLine line{.name = outcome.name, .error = outcome.why};
    if (auto kept = keep(as_json(line)); !kept) return tl::unexpected(kept.error());
    return outcome;
  }

  const RunOptions& options_;
  const ItemWork& work_;
  const ItemTold& told_;
  std::optional<FolderLock> lock_;
  Hashes hashes_;
  PastRuns past_;
  int damaged_lines_ = 0;
  std::set<std::string> sample_;
  FileContents contents_{hashes_, options_.read_all,
                         [this](const HashLine& learned) { return keep(as_json(learned)); }};
  std::atomic<bool> stopped_ = false;
  std::mutex mutex_;  // of what follows
  std::optional<Journal> journal_;
  int told_count_ = 0;
  LeftBehind left_behind_;
  std::set<std::string> read_again_;
  std::optional<Error> failure_;
};

}  // namespace

int RunReport::count(ItemState state) const {
  return static_cast<int>(std::count_if(
      items.begin(), items.end(), [&](const ItemOutcome& item) { return item.state == state; }));
}

std::string free_item_name(const std::string& name,
                           const std::function<bool(const std::string&)>& taken) {
  std::string free = name;
  for (int i = 2; taken(free); ++i) free = fmt::format("{} ({})", name, i);
  return free;
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
