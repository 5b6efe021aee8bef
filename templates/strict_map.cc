#include "templates/strict_map.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <limits>
#include <optional>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "templates/number_ranges.h"

namespace seamwright {

namespace {

using Kind = YamlValue::Kind;

/// Units that key names end with, and near misses people write.
constexpr std::array<std::string_view, 15> kUnits = {"px",   "px2", "rad",       "deg", "degrees",
                                                     "mrad", "m",   "mm",        "cm",  "um",
                                                     "inch", "in",  "baselines", "ev",  "s"};

/// The key without its unit: "focal_px" → "focal".
std::string_view without_unit(std::string_view key) {
  const auto cut = key.rfind('_');
  if (cut == std::string_view::npos) return key;
  const std::string_view unit = key.substr(cut + 1);
  const bool is_unit = std::find(kUnits.begin(), kUnits.end(), unit) != kUnits.end();
  return is_unit ? key.substr(0, cut) : key;
}

std::string kind_name(const YamlValue& value) {
  switch (value.kind) {
    case Kind::nothing:
      return "nothing";
    case Kind::scalar:
      return shown(value.text);
    case Kind::list:
      return "a list";
    case Kind::map:
      return "a map";
  }
  return "nothing";
}

/// The whole text as a number: no blanks, no sign '+', no hexadecimal, '.' whatever the locale.
std::optional<double> parse_number(std::string_view text) {
  double number = 0;
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (code == std::errc::result_out_of_range) return std::numeric_limits<double>::infinity();
  if (code != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return number;
}

bool looks_not_finite(std::string_view text) {
  std::string lower;
  for (const char c : text) {
    if (c >= 'A' && c <= 'Z') lower += static_cast<char>(c - 'A' + 'a');
    if (c >= 'a' && c <= 'z') lower += c;
  }
  return lower == "nan" || lower == "inf" || lower == "infinity";
}

}  // namespace

void StrictValue::refuse(std::string what, std::string remedy) const {
  throw Refused{{.kind = ErrorKind::user_input,
                 .where = fmt::format("{}:{}", file_, value_->line),
                 .field = field_,
                 .what = std::move(what),
                 .remedy = std::move(remedy)}};
}

double StrictValue::finite_number() const {
  if (value_->kind != Kind::scalar)
    refuse(kind_name(*value_) + " is not a number", "give a number");
  if (value_->quoted) {
    refuse(fmt::format("{} is text in quotes", shown(value_->text)),
           "write the number without quotes");
  }
  const auto number = parse_number(value_->text);
  if (looks_not_finite(value_->text) || (number && !std::isfinite(*number))) {
    refuse(shown(value_->text) + " is not a finite number", "give a finite number");
  }
  if (!number) {
    refuse(shown(value_->text) + " is not a number",
           "give a plain decimal number; its unit stands in the key's name");
  }
  return *number;
}

double StrictValue::number() const {
  const double value = finite_number();
  const NumberRange range = range_of(field_);
  if (!(value >= range.least && value <= range.most)) {
    refuse(fmt::format("{} is outside {}…{}{}{}", value, range.least, range.most,
                       range.unit.empty() ? "" : " ", range.unit),
           "correct the number");
  }
  return value;
}

int StrictValue::whole(int least, int most) const {
  const double value = finite_number();
  if (value != std::floor(value) || value < least || value > most) {
    refuse(fmt::format("{} is not a whole number from {} to {}", value, least, most),
           "correct the number");
  }
  return static_cast<int>(value);
}

bool StrictValue::flag() const {
  if (value_->kind == Kind::scalar && !value_->quoted) {
    if (value_->text == "true") return true;
    if (value_->text == "false") return false;
  }
  refuse(kind_name(*value_) + " is neither true nor false", "write true or false");
}

std::string StrictValue::text() const {
  constexpr std::size_t kLimit = 1000;
  if (value_->kind != Kind::scalar || value_->text.empty()) {
    refuse(kind_name(*value_) + " is not a line of text", "give a text");
  }
  const std::string& text = value_->text;
  const bool has_control = std::any_of(text.begin(), text.end(), [](char c) {
    return static_cast<unsigned char>(c) < 0x20 || c == 0x7f;
  });
  if (has_control) {
    refuse(shown(text) + " has a line break or control character", "keep to one plain line");
  }
  if (text.size() > kLimit) {
    refuse(fmt::format("{} is longer than {} bytes", shown(text), kLimit), "shorten it");
  }
  return text;
}

std::size_t StrictValue::choice(const std::vector<std::string_view>& choices) const {
  const auto at = value_->kind == Kind::scalar
                      ? std::find(choices.begin(), choices.end(), value_->text)
                      : choices.end();
  if (at == choices.end()) {
    refuse(kind_name(*value_) + " is not known here",
           fmt::format("choose one of {}", fmt::join(choices, ", ")));
  }
  return static_cast<std::size_t>(at - choices.begin());
}

std::string StrictValue::sha256() const {
  std::string hash = text();
  const bool is_hex = std::all_of(hash.begin(), hash.end(), [](char c) {
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f');
  });
  if (hash.size() != 64 || !is_hex) {
    refuse(shown(hash) + " is not a SHA-256", "give 64 hexadecimal digits in lower case");
  }
  return hash;
}

std::vector<StrictValue> StrictValue::list() const {
  if (value_->kind != Kind::list) {
    refuse(kind_name(*value_) + " is not a list", "write a list, '[]' when there is nothing");
  }
  std::vector<StrictValue> values;
  for (const YamlValue& child : value_->children) {
    values.emplace_back(child, file_, fmt::format("{}[{}]", field_, values.size()));
  }
  return values;
}

std::vector<double> StrictValue::numbers(std::size_t count) const {
  const std::vector<StrictValue> values = list();
  if (values.size() != count) {
    refuse(fmt::format("holds {} numbers", values.size()),
           fmt::format("give {} in square brackets", count));
  }
  std::vector<double> numbers;
  for (const StrictValue& value : values) numbers.push_back(value.number());
  return numbers;
}

Vec3 StrictValue::vector3() const {
  const std::vector<double> xyz = numbers(3);
  return {xyz[0], xyz[1], xyz[2]};
}

StrictMap::StrictMap(const StrictValue& value, std::vector<std::string> keys)
    : self_(value), keys_(std::move(keys)) {
  if (value.yaml().kind != Kind::map) {
    value.refuse(kind_name(value.yaml()) + " is not a map",
                 fmt::format("give the keys {}", fmt::join(keys_, ", ")));
  }
  for (const YamlValue& entry : value.yaml().children) check_key(entry);
}

bool StrictMap::has(std::string_view key) const { return self_.yaml().find(key) != nullptr; }

StrictValue StrictMap::at(std::string_view key) const {
  const YamlValue* value = self_.yaml().find(key);
  if (value == nullptr) {
    self_.refuse(fmt::format("the key '{}' is missing", key), fmt::format("add '{}: ...'", key));
  }
  return {*value, self_.file(), path(key)};
}

std::string StrictMap::path(std::string_view key) const {
  return self_.field().empty() ? std::string(key) : fmt::format("{}.{}", self_.field(), key);
}

void StrictMap::check_key(const YamlValue& entry) const {
  if (std::find(keys_.begin(), keys_.end(), entry.key) != keys_.end()) return;
  const StrictValue where(entry, self_.file(), self_.field());
  for (const std::string& key : keys_) {
    if (!has(key) && without_unit(key) == without_unit(entry.key)) {
      where.refuse(fmt::format("the key {} has the wrong unit", shown(entry.key)),
                   fmt::format("give '{}', in that unit", key));
    }
  }
  where.refuse(fmt::format("unknown key {}", shown(entry.key)),
               fmt::format("remove it or correct it; known here are {}", fmt::join(keys_, ", ")));
}

}  // namespace seamwright
