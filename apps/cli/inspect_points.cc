#include <array>
#include <charconv>
#include <cmath>
#include <iostream>
#include <optional>
#include <string_view>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/inspect.h"

namespace seamwright {

namespace {

// One line of input: a lens and two or three numbers, kept as they were written as well.
struct PointLine {
  int lens = 0;
  std::array<double, 3> number{};
  std::vector<std::string_view> words;
};

std::vector<std::string_view> words_of(std::string_view line) {
  constexpr std::string_view kBlank = " \t\r";
  std::vector<std::string_view> words;
  for (std::size_t at = line.find_first_not_of(kBlank); at != std::string_view::npos;) {
    const std::size_t end = std::min(line.find_first_of(kBlank, at), line.size());
    words.push_back(line.substr(at, end - at));
    at = line.find_first_not_of(kBlank, end);
  }
  return words;
}

template <class T>
bool parse(std::string_view word, T& value) {
  if (word.starts_with('+')) word.remove_prefix(1);
  const auto [end, code] = std::from_chars(word.data(), word.data() + word.size(), value);
  return code == std::errc{} && end == word.data() + word.size();
}

class PointMapper {
 public:
  PointMapper(const Rig& rig, PointDirection direction) : rig_(rig), direction_(direction) {}

  [[nodiscard]] std::size_t numbers() const {
    return direction_ == PointDirection::unproject ? 2 : 3;
  }
  [[nodiscard]] std::string_view form() const {
    return direction_ == PointDirection::unproject ? "lens u v" : "lens x y z";
  }

  /// The line's point; empty, with the reason, where it is malformed.
  [[nodiscard]] std::optional<PointLine> parse_line(std::string_view line,
                                                    std::string& reason) const {
    PointLine point;
    point.words = words_of(line);
    if (point.words.size() != numbers() + 1) {
      reason = fmt::format("has {} words", point.words.size());
      return std::nullopt;
    }
    if (!parse(point.words[0], point.lens)) {
      reason = fmt::format("'{}' is not a lens number", point.words[0]);
      return std::nullopt;
    }
    if (point.lens < 0 || point.lens >= rig_.lens_count()) {
      reason = fmt::format("lens {} is not one of 0…{}", point.lens, rig_.lens_count() - 1);
      return std::nullopt;
    }
    for (std::size_t i = 0; i < numbers(); ++i) {
      if (parse(point.words[i + 1], point.number[i]) && std::isfinite(point.number[i])) continue;
      reason = fmt::format("'{}' is not a finite number", point.words[i + 1]);
      return std::nullopt;
    }
    const auto& n = point.number;
    if (direction_ == PointDirection::project && n[0] == 0 && n[1] == 0 && n[2] == 0) {
      reason = "the direction has no length";
      return std::nullopt;
    }
    return point;
  }

  /// Two or three numbers, NaN outside the field of view.
  [[nodiscard]] std::vector<double> map(const PointLine& point) const {
    const MountedLens& lens = rig_.lenses[static_cast<std::size_t>(point.lens)];
    const auto& n = point.number;
    if (direction_ == PointDirection::unproject) {
      const auto d = lens.direction_in_rig({n[0], n[1]});
      return d ? std::vector{d->x(), d->y(), d->z()} : std::vector(3, std::nan(""));
    }
    // Scaled first, so that huge and tiny lengths do not overflow.
    const double largest = std::max({std::abs(n[0]), std::abs(n[1]), std::abs(n[2])});
    const Vec3 direction(n[0] / largest, n[1] / largest, n[2] / largest);
    const auto px = lens.project_direction(direction.normalized());
    return px ? std::vector{px->x(), px->y()} : std::vector(2, std::nan(""));
  }

 private:
  const Rig& rig_;
  PointDirection direction_;
};

void print_line(const PointLine& point, const std::vector<double>& mapped) {
  std::string line;
  for (const std::string_view word : point.words) line += fmt::format("{} ", word);
  for (const double value : mapped) {
    line += std::isnan(value) ? std::string("nan ") : fmt::format("{:.12f} ", value);
  }
  line.back() = '\n';
  std::cout << line;
}

nlohmann::json as_json(const PointLine& point, const std::vector<double>& mapped,
                       PointDirection direction) {
  const auto put = [](nlohmann::json& object, const char* name, double value) {
    if (std::isnan(value)) {
      object[name] = nullptr;
    } else {
      object[name] = value;
    }
  };
  nlohmann::json object = {{"lens", point.lens}};
  const bool unproject = direction == PointDirection::unproject;
  const auto& px = unproject ? std::vector{point.number[0], point.number[1]} : mapped;
  const auto& d = unproject ? mapped : std::vector(point.number.begin(), point.number.end());
  put(object, "u", px[0]);
  put(object, "v", px[1]);
  put(object, "x", d[0]);
  put(object, "y", d[1]);
  put(object, "z", d[2]);
  return object;
}

}  // namespace

Result<Outcome> inspect_points(const Rig& rig, PointDirection direction, const Console& console) {
  const PointMapper mapper(rig, direction);
  nlohmann::json points = nlohmann::json::array();
  int outside = 0;
  int number = 0;
  std::string line;
  while (std::getline(std::cin, line)) {
    ++number;
    if (words_of(line).empty()) continue;
    std::string reason;
    const auto point = mapper.parse_line(line, reason);
    if (!point) {
      return fail({.kind = ErrorKind::user_input,
                   .where = fmt::format("stdin:{}", number),
                   .field = {},
                   .what = reason,
                   .remedy = fmt::format("give lines '{}'", mapper.form())});
    }
    const auto mapped = mapper.map(*point);
    outside += std::isnan(mapped[0]) ? 1 : 0;
    if (console.json()) {
      points.push_back(as_json(*point, mapped, direction));
    } else {
      print_line(*point, mapped);
    }
  }
  std::cout.flush();
  if (outside > 0) {
    console.say(fmt::format("{} points lie outside their lens' field of view", outside));
  }
  if (console.json()) {
    console.answer({{"command", "inspect"}, {"points", points}, {"outside", outside}});
  }
  return Outcome::done;
}

}  // namespace seamwright
