#include "templates/yaml_tree.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <set>
#include <sstream>
#include <utility>

#include <fmt/format.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/mark.h>
#include <yaml-cpp/parser.h>

#include "base/readable_text.h"

namespace seamwright {

namespace {

/// Deeper than any of our formats.
constexpr std::size_t kDepthLimit = 32;

Error yaml_error(const std::string& name, int line, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = fmt::format("{}:{}", name, line),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

int line_of(const YAML::Mark& mark) { return std::max(mark.line, 0) + 1; }

/// Carries an Error out of the parser; never leaves this file.
struct Refusal {
  Error error;
};

/// Builds the tree from the parser's events.
class TreeBuilder : public YAML::EventHandler {
 public:
  explicit TreeBuilder(const std::string& name) : name_(name) {}

  [[nodiscard]] YamlValue take() { return std::move(root_); }

  void OnDocumentStart(const YAML::Mark& /*mark*/) override {}
  void OnDocumentEnd() override {}

  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    refuse_anchor(mark, anchor);
    if (awaits_key()) refuse(mark, "a key is missing before ':'", "write 'key: value'");
    place({.kind = YamlValue::Kind::nothing, .line = line_of(mark)});
  }

  void OnAlias(const YAML::Mark& mark, YAML::anchor_t /*anchor*/) override {
    refuse(mark, "YAML aliases (*name) are not allowed", "write the value out");
  }

  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& text) override {
    refuse_anchor(mark, anchor);
    // The parser reports "?" for plain scalars and "!" for quoted ones.
    refuse_tag(mark, tag, {"?", "!", ""});
    if (awaits_key()) {
      take_key(mark, text);
    } else {
      place({.kind = YamlValue::Kind::scalar,
             .line = line_of(mark),
             .quoted = tag == "!",
             .text = text});
    }
  }

  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value /*style*/) override {
    refuse_anchor(mark, anchor);
    refuse_tag(mark, tag, {"?", "", ""});
    open(mark, YamlValue::Kind::list);
  }
  void OnSequenceEnd() override { close(); }

  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value /*style*/) override {
    refuse_anchor(mark, anchor);
    refuse_tag(mark, tag, {"?", "", ""});
    open(mark, YamlValue::Kind::map);
  }
  void OnMapEnd() override { close(); }

 private:
  /// A list or map that is still being filled.
  struct Open {
    YamlValue value;
    std::set<std::string> keys;  ///< of a map, to find doubles
    bool has_key = false;        ///< map: `key` waits for its value
    std::string key;
    int key_line = 0;
  };

  [[noreturn]] void refuse(const YAML::Mark& mark, std::string what, std::string remedy) const {
    throw Refusal{yaml_error(name_, line_of(mark), std::move(what), std::move(remedy))};
  }

  void refuse_anchor(const YAML::Mark& mark, YAML::anchor_t anchor) const {
    if (anchor != YAML::NullAnchor) {
      refuse(mark, "YAML anchors (&name) are not allowed", "write the value out");
    }
  }

  void refuse_tag(const YAML::Mark& mark, const std::string& tag,
                  const std::array<std::string_view, 3>& known) const {
    if (std::find(known.begin(), known.end(), tag) == known.end()) {
      refuse(mark, fmt::format("YAML tags ({}) are not allowed", shown(tag)), "remove the tag");
    }
  }

  [[nodiscard]] bool awaits_key() const {
    return !open_.empty() && open_.back().value.kind == YamlValue::Kind::map &&
           !open_.back().has_key;
  }

  void take_key(const YAML::Mark& mark, const std::string& key) {
    Open& map = open_.back();
    if (!map.keys.insert(key).second) {
      refuse(mark, fmt::format("the key {} stands here twice", shown(key)),
             "remove one of the two");
    }
    map.has_key = true;
    map.key = key;
    map.key_line = line_of(mark);
  }

  void open(const YAML::Mark& mark, YamlValue::Kind kind) {
    if (awaits_key()) refuse(mark, "a list or map is used as a key", "use a plain word as the key");
    if (open_.size() >= kDepthLimit) {
      refuse(mark, fmt::format("nested deeper than {} levels", kDepthLimit),
             "check that this is the right file");
    }
    open_.emplace_back();
    open_.back().value.kind = kind;
    open_.back().value.line = line_of(mark);
  }

  void close() {
    YamlValue done = std::move(open_.back().value);
    open_.pop_back();
    place(std::move(done));
  }

  void place(YamlValue value) {
    if (open_.empty()) {
      root_ = std::move(value);
      return;
    }
    Open& parent = open_.back();
    if (parent.value.kind == YamlValue::Kind::map) {
      value.key = std::move(parent.key);
      value.line = parent.key_line;
      parent.has_key = false;
    }
    parent.value.children.push_back(std::move(value));
  }

  const std::string& name_;
  YamlValue root_;
  std::vector<Open> open_;
};

int line_at(std::string_view text, std::size_t position) {
  return 1 + static_cast<int>(std::count(
                 text.begin(), text.begin() + static_cast<std::ptrdiff_t>(position), '\n'));
}

/// Bytes that can hide or break text: everything below space but tab and line ends.
std::size_t find_control(std::string_view text) {
  const auto is_control = [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return (byte < 0x20 && c != '\t' && c != '\n' && c != '\r') || byte == 0x7f;
  };
  const auto at = std::find_if(text.begin(), text.end(), is_control);
  return at == text.end() ? std::string_view::npos : static_cast<std::size_t>(at - text.begin());
}

Result<YamlValue> parse_checked(std::string_view yaml, const std::string& name) {
  std::istringstream stream{std::string(yaml)};
  TreeBuilder builder(name);
  try {
    YAML::Parser parser(stream);
    if (!parser.HandleNextDocument(builder)) {
      return fail(yaml_error(name, 1, "the file is empty", "check that this is the right file"));
    }
    YamlValue value = builder.take();
    TreeBuilder rest(name);
    if (parser.HandleNextDocument(rest)) {
      return fail(yaml_error(name, std::max(rest.take().line, 1), "a second YAML document begins",
                             "keep one document ('---') a file"));
    }
    return value;
  } catch (const Refusal& refusal) {
    return fail(refusal.error);
  } catch (const YAML::Exception& error) {
    return fail(yaml_error(name, line_of(error.mark), "not readable as YAML: " + error.msg,
                           "check indentation, quotes and brackets there"));
  }
}

}  // namespace

const YamlValue* YamlValue::find(std::string_view name) const {
  const auto at = std::find_if(children.begin(), children.end(),
                               [&](const YamlValue& child) { return child.key == name; });
  return kind == Kind::map && at != children.end() ? &*at : nullptr;
}

Result<YamlValue> parse_yaml(std::string_view yaml, const std::string& name) {
  if (yaml.size() > kYamlLimitBytes) {
    return fail(yaml_error(name, 1, fmt::format("is larger than {} bytes", kYamlLimitBytes),
                           "check that this is the right file"));
  }
  if (const auto at = find_broken_utf8(yaml); at != std::string_view::npos) {
    return fail(yaml_error(name, line_at(yaml, at), "is not UTF-8 text",
                           "save the file as UTF-8, or check that this is the right file"));
  }
  if (const auto at = find_control(yaml); at != std::string_view::npos) {
    return fail(yaml_error(name, line_at(yaml, at), "holds a control character",
                           "remove it, or check that this is the right file"));
  }
  return parse_checked(yaml, name);
}

std::string shown(std::string_view text) {
  constexpr std::size_t kLimit = 40;
  std::string clean(text.substr(0, kLimit));
  for (auto at = find_broken_utf8(clean); at != std::string::npos; at = find_broken_utf8(clean)) {
    clean[at] = '?';
  }
  for (char& c : clean) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte == 0x7f) c = '?';
  }
  return fmt::format("'{}{}'", clean, text.size() > kLimit ? "..." : "");
}

}  // namespace seamwright
