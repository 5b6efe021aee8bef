#include "archive/run.h"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <map>
#include <optional>
#include <system_error>

#include <fmt/format.h>

#include "archive/folder_lock.h"
#include "base/file.h"
#include "base/median.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::int64_t kClearlyOlder_ns = 2'000'000'000;

std::int64_t now_ns() {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(
             fs::file_time_type::clock::now().time_since_epoch())
      .count();
}

/// A file as it lies on the disk.
struct Stamp {
  std::uintmax_t bytes = 0;
  std::int64_t changed_ns = 0;

  bool operator==(const Stamp&) const = default;
};

std::optional<Stamp> stamp_of(const fs::path& file) {
  std::error_code code;
  Stamp stamp;
  stamp.bytes = fs::file_size(file, code);
  if (code) return std::nullopt;
  const auto changed = fs::last_write_time(file, code);
  if (code) return std::nullopt;
  stamp.changed_ns =
      std::chrono::duration_cast<std::chrono::nanoseconds>(changed.time_since_epoch()).count();
  return stamp;
}

/// Contents by file, remembered over runs.
class Hashes {
 public:
  void remember(const nlohmann::json& entry) {
    known_[entry.value("file", "")] = {
        {entry.value("bytes", std::uintmax_t{0}), entry.value("changed_ns", std::int64_t{0})},
        entry.value("sha256", "")};
  }

  /// New knowledge that may be trusted later goes to `learned`.
  Result<std::string> of(const fs::path& file, std::vector<nlohmann::json>& learned) {
    const std::string name = fs::absolute(file).lexically_normal().string();
    const auto before = stamp_of(file);
    if (before) {
      const auto known = known_.find(name);
      if (known != known_.end() && known->second.first == *before) return known->second.second;
    }
    const std::int64_t began_ns = now_ns();
    auto hash = sha256_of_file(file);
    if (!hash) return hash;
    const auto after = stamp_of(file);
    if (before && after == before && before->changed_ns < began_ns - kClearlyOlder_ns) {
      known_[name] = {*before, *hash};
      learned.push_back({{"event", "hash"},
                         {"file", name},
                         {"bytes", before->bytes},
                         {"changed_ns", before->changed_ns},
                         {"sha256", *hash}});
    }
    return hash;
  }

 private:
  std::map<std::string, std::pair<Stamp, std::string>> known_;
};

/// What an item is made from, as two hashes.
struct Key {
  std::string inputs;
  std::string settings;

  bool operator==(const Key&) const = default;
};

class Runner {
 public:
  Runner(const RunOptions& options, const ItemWork& work, const ItemTold& told)
      : options_(options), work_(work), told_(told) {}

  Result<RunReport> run(std::vector<ArchiveItem> items) {
    std::erase_if(items, [&](const ArchiveItem& item) {
      return !in_part(item.name, options_.part, options_.parts);
    });
    std::sort(items.begin(), items.end(),
              [](const ArchiveItem& a, const ArchiveItem& b) { return a.name < b.name; });
    if (auto done = open_journals(); !done) return tl::unexpected(done.error());
    report_.usual_seconds = median(seconds_);
    if (!options_.dry_run) {
      for (const ArchiveItem& item : items) clear_leftovers(item);
    }
    for (std::size_t i = 0; i < items.size(); ++i) {
      auto outcome = one(items[i]);
      if (!outcome) return tl::unexpected(outcome.error());
      report_.items.push_back(std::move(*outcome));
      const bool go_on = !told_ || told_(report_.items.back(), static_cast<int>(i) + 1,
                                         static_cast<int>(items.size()));
      if (!go_on) report_.stopped = true;
    }
    return std::move(report_);
  }

 private:
  fs::path journal_folder() const { return options_.folder / ".restitch"; }
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
      report_.damaged_lines += contents->damaged_lines;
      take(contents->entries);
    }
    if (options_.dry_run) return {};
    auto journal = Journal::open(own_journal());
    if (!journal) return tl::unexpected(journal.error());
    journal_.emplace(std::move(*journal));
    report_.damaged_lines += journal_->damaged_lines();
    take(journal_->entries());
    return {};
  }

  void take(const std::vector<nlohmann::json>& entries) {
    for (const nlohmann::json& entry : entries) {
      const std::string event = entry.value("event", "");
      const std::string name = entry.value("name", "");
      if (event == "hash") hashes_.remember(entry);
      if (event == "begin") begun_[name] = true;
      if (event == "done") {
        done_[name].push_back(entry);
        seconds_.push_back(entry.value("seconds", 0.0));
      }
      if (event == "done" || event == "failed") begun_[name] = false;
    }
  }

  // Temporaries of a run that was killed, and scratch of an item that it was at.
  void clear_leftovers(const ArchiveItem& item) const {
    std::error_code code;
    for (const fs::path& output : item.outputs) remove_partials_of(output);
    const auto begun = begun_.find(item.name);
    if (begun == begun_.end() || !begun->second) return;
    for (const fs::path& file : item.scratch) {
      fs::remove(file, code);
      remove_partials_of(file);
    }
  }

  static void remove_partials_of(const fs::path& output) {
    std::error_code code;
    const std::string begin = fmt::format(".{}.", output.filename().string());
    const fs::path folder = output.has_parent_path() ? output.parent_path() : fs::path(".");
    std::vector<fs::path> partials;
    for (const auto& entry : fs::directory_iterator(folder, code)) {
      const std::string name = entry.path().filename().string();
      if (name.starts_with(begin) && name.ends_with(".partial")) partials.push_back(entry.path());
    }
    for (const fs::path& partial : partials) fs::remove(partial, code);
  }

  // Remembers what it learns in the journal.
  Result<std::string> hash_of(const fs::path& file) {
    std::vector<nlohmann::json> learned;
    auto hash = hashes_.of(file, learned);
    if (!hash || !journal_) return hash;
    for (const nlohmann::json& entry : learned) {
      if (auto kept = journal_->append(entry); !kept) return tl::unexpected(kept.error());
    }
    return hash;
  }

  Result<Key> key_of(const ArchiveItem& item) {
    std::string text;
    for (const fs::path& input : item.inputs) {
      const auto hash = hash_of(input);
      if (!hash) return tl::unexpected(hash.error());
      text += fmt::format("{} {}\n", *hash, input.filename().string());
    }
    return Key{sha256(text), sha256(item.settings)};
  }

  // Why its outputs are not those of that time; empty where they are.
  Result<std::string> outputs_differ(const nlohmann::json& done) {
    for (const auto& output : done.at("outputs")) {
      const fs::path file = options_.folder / output.value("file", "");
      const auto stamp = stamp_of(file);
      if (!stamp) return std::string("output missing");
      if (stamp->bytes != output.value("bytes", std::uintmax_t{0})) {
        return std::string("output changed");
      }
      const auto hash = hash_of(file);
      if (!hash) return tl::unexpected(hash.error());
      if (*hash != output.value("sha256", "")) return std::string("output changed");
    }
    return std::string();
  }

  // The time it was done from the very same, with these outputs; else why it has to be done.
  Result<const nlohmann::json*> find_done(const ArchiveItem& item, const Key& key,
                                          std::string& why) {
    const auto known = done_.find(item.name);
    why = "new";
    if (known == done_.end()) return nullptr;
    for (auto done = known->second.rbegin(); done != known->second.rend(); ++done) {
      const bool last = done == known->second.rbegin();
      const bool same_inputs = done->value("inputs", "") == key.inputs;
      if (!same_inputs || done->value("settings", "") != key.settings) {
        if (last) why = same_inputs ? "settings changed" : "inputs changed";
        continue;
      }
      auto differ = outputs_differ(*done);
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
    auto key = key_of(item);
    if (!key) return failed_or_stop(std::move(outcome), key.error());
    const auto done = find_done(item, *key, outcome.why);
    if (!done) return failed_or_stop(std::move(outcome), done.error());
    if (*done != nullptr) {
      outcome.state = ItemState::unchanged;
      outcome.why.clear();
      for (const auto& finding : (*done)->value("findings", nlohmann::json::array())) {
        outcome.findings.push_back(finding.get<std::string>());
      }
      return outcome;
    }
    if (options_.dry_run) return outcome;
    if (auto kept = journal_->append({{"event", "begin"}, {"name", item.name}}); !kept) {
      return tl::unexpected(kept.error());
    }
    return work_on(item, *key, std::move(outcome));
  }

  // What cannot be journalled ends the run; anything else is one item's failure.
  Result<ItemOutcome> failed_or_stop(ItemOutcome outcome, const Error& error) {
    if (error.field == "journal") return tl::unexpected(error);
    return failed(std::move(outcome), error);
  }

  Result<ItemOutcome> work_on(const ArchiveItem& item, Key key, ItemOutcome outcome) {
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

  Result<ItemOutcome> done(const ArchiveItem& item, const Key& key, ItemOutcome outcome) {
    nlohmann::json outputs = nlohmann::json::array();
    for (const fs::path& output : item.outputs) {
      const auto stamp = stamp_of(output);
      if (!stamp) {
        return failed(std::move(outcome), {.kind = ErrorKind::io,
                                           .where = output.string(),
                                           .field = {},
                                           .what = "is not there after the work",
                                           .remedy = "check the output folder"});
      }
      const auto hash = hash_of(output);
      if (!hash) return failed_or_stop(std::move(outcome), hash.error());
      outputs.push_back({{"file", fs::proximate(output, options_.folder).generic_string()},
                         {"bytes", stamp->bytes},
                         {"sha256", *hash}});
    }
    const nlohmann::json entry = {{"event", "done"},           {"name", item.name},
                                  {"inputs", key.inputs},      {"settings", key.settings},
                                  {"outputs", outputs},        {"findings", outcome.findings},
                                  {"seconds", outcome.seconds}};
    if (auto kept = journal_->append(entry); !kept) return tl::unexpected(kept.error());
    outcome.state = ItemState::done;
    return outcome;
  }

  Result<ItemOutcome> failed(ItemOutcome outcome, const Error& error) {
    outcome.state = ItemState::failed;
    outcome.why = error.line();
    if (!journal_) return outcome;
    if (auto kept =
            journal_->append({{"event", "failed"}, {"name", outcome.name}, {"error", outcome.why}});
        !kept) {
      return tl::unexpected(kept.error());
    }
    return outcome;
  }

  const RunOptions& options_;
  const ItemWork& work_;
  const ItemTold& told_;
  std::optional<Journal> journal_;
  Hashes hashes_;
  std::map<std::string, std::vector<nlohmann::json>>
      done_;  // every time, oldest first in a journal
  std::vector<double> seconds_;
  std::optional<FolderLock> lock_;
  std::map<std::string, bool> begun_;
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
