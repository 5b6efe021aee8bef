#include "jobs/archive/journal_lines.h"

#include <cmath>
#include <type_traits>
#include <utility>

#include "base/readable_text.h"

namespace seamwright {

namespace {

/// Takes an object's values and remembers whether all were there and of their kind.
class Reader {
 public:
  explicit Reader(const nlohmann::json& object) : object_(object), whole_(object.is_object()) {}

  [[nodiscard]] bool whole() const { return whole_; }
  [[nodiscard]] bool has(const char* key) const {
    return object_.is_object() && object_.contains(key);
  }

  std::string text(const char* key) { return text_of(at(key)); }

  template <class Integer>
  Integer integer(const char* key) {
    const nlohmann::json& value = at(key);
    const bool negative = value.is_number_integer() && !value.is_number_unsigned();
    if (!value.is_number_integer() || (negative && std::is_unsigned_v<Integer>)) {
      whole_ = false;
      return 0;
    }
    return value.get<Integer>();
  }

  double seconds(const char* key) {
    const nlohmann::json& value = at(key);
    const double number = value.is_number() ? value.get<double>() : -1;
    whole_ = whole_ && std::isfinite(number) && number >= 0;
    return number;
  }

  const nlohmann::json& array(const char* key) {
    const nlohmann::json& value = at(key);
    whole_ = whole_ && value.is_array();
    return value.is_array() ? value : none();
  }

  std::vector<std::string> texts(const char* key) {
    std::vector<std::string> list;
    for (const nlohmann::json& value : array(key)) list.push_back(text_of(value));
    return list;
  }

  void join(const Reader& part) { whole_ = whole_ && part.whole(); }

 private:
  static const nlohmann::json& none() {
    static const nlohmann::json nothing;
    return nothing;
  }

  const nlohmann::json& at(const char* key) {
    if (has(key)) return object_.at(key);
    whole_ = false;
    return none();
  }

  std::string text_of(const nlohmann::json& value) {
    if (value.is_string()) return bytes_of_readable(value.get_ref<const std::string&>());
    whole_ = false;
    return {};
  }

  const nlohmann::json& object_;
  bool whole_;
};

JournalLine hash_line(Reader& entry) {
  HashLine line{.file = entry.text("file"), .stamp = {}, .sha256 = entry.text("sha256")};
  line.stamp.bytes = entry.integer<std::uintmax_t>("bytes");
  line.stamp.changed_ns = entry.integer<std::int64_t>("changed_ns");
  if (!entry.has("status_ns") && !entry.has("inode")) return OtherLine{};
  line.stamp.status_ns = entry.integer<std::int64_t>("status_ns");
  line.stamp.inode = entry.integer<std::uint64_t>("inode");
  return line;
}

JournalLine done_line(Reader& entry) {
  DoneLine line{.name = entry.text("name"),
                .inputs = entry.text("inputs"),
                .settings = entry.text("settings"),
                .outputs = {},
                .findings = entry.texts("findings"),
                .seconds = entry.seconds("seconds")};
  for (const nlohmann::json& value : entry.array("outputs")) {
    Reader output(value);
    line.outputs.push_back({.file = output.text("file"),
                            .bytes = output.integer<std::uintmax_t>("bytes"),
                            .sha256 = output.text("sha256")});
    entry.join(output);
  }
  return line;
}

JournalLine line_of(const std::string& event, Reader& entry) {
  if (event == "run") return RunLine{};
  if (event == "hash") return hash_line(entry);
  if (event == "begin") return BeginLine{.name = entry.text("name")};
  if (event == "done") return done_line(entry);
  if (event == "failed") {
    return FailedLine{.name = entry.text("name"), .error = entry.text("error")};
  }
  if (event == "damaged") {
    return DamageLine{.journal = entry.text("journal"), .lines = entry.integer<int>("lines")};
  }
  return OtherLine{};
}

}  // namespace

std::optional<JournalLine> read_journal_line(const nlohmann::json& entry) {
  Reader reader(entry);
  const std::string event = reader.text("event");
  JournalLine line = line_of(event, reader);
  if (!reader.whole()) return std::nullopt;
  return line;
}

nlohmann::json as_json(const RunLine& /*line*/) { return {{"event", "run"}}; }

nlohmann::json as_json(const HashLine& line) {
  return {{"event", "hash"},
          {"file", readable_text(line.file)},
          {"bytes", line.stamp.bytes},
          {"changed_ns", line.stamp.changed_ns},
          {"status_ns", line.stamp.status_ns},
          {"inode", line.stamp.inode},
          {"sha256", line.sha256}};
}

nlohmann::json as_json(const BeginLine& line) {
  return {{"event", "begin"}, {"name", readable_text(line.name)}};
}

nlohmann::json as_json(const DoneLine& line) {
  nlohmann::json outputs = nlohmann::json::array();
  for (const OutputLine& output : line.outputs) {
    outputs.push_back(
        {{"file", readable_text(output.file)}, {"bytes", output.bytes}, {"sha256", output.sha256}});
  }
  nlohmann::json findings = nlohmann::json::array();
  for (const std::string& finding : line.findings) findings.push_back(readable_text(finding));
  return {{"event", "done"},        {"name", readable_text(line.name)},
          {"inputs", line.inputs},  {"settings", line.settings},
          {"outputs", outputs},     {"findings", findings},
          {"seconds", line.seconds}};
}

nlohmann::json as_json(const FailedLine& line) {
  return {{"event", "failed"},
          {"name", readable_text(line.name)},
          {"error", readable_text(line.error)}};
}

nlohmann::json as_json(const DamageLine& line) {
  return {{"event", "damaged"}, {"journal", readable_text(line.journal)}, {"lines", line.lines}};
}

}  // namespace seamwright
