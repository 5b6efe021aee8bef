#include "apps/workbench/router.h"

#include <algorithm>
#include <optional>

namespace seamwright::workbench {

namespace {

std::vector<std::string> split_at(std::string_view text, char mark) {
  std::vector<std::string> parts;
  for (;;) {
    const auto end = text.find(mark);
    parts.emplace_back(text.substr(0, end));
    if (end == std::string_view::npos) return parts;
    text.remove_prefix(end + 1);
  }
}

bool is_short_number(std::string_view text) {
  constexpr std::size_t kMostDigits = 6;
  return !text.empty() && text.size() <= kMostDigits &&
         std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}

std::optional<PathParts> parts_of(const std::vector<std::string>& path,
                                  const std::vector<std::string>& pattern) {
  if (path.size() != pattern.size()) return std::nullopt;
  PathParts parts;
  for (std::size_t i = 0; i < path.size(); ++i) {
    const auto words = split_at(pattern[i], '|');
    const bool is_number = pattern[i] == "#";
    const bool fits = is_number ? is_short_number(path[i])
                                : std::find(words.begin(), words.end(), path[i]) != words.end();
    if (!fits) return std::nullopt;
    if (is_number || words.size() > 1) parts.add(path[i]);
  }
  return parts;
}

}  // namespace

void Router::add(std::string method, std::string_view pattern, Call call) {
  routes_.push_back({std::move(method), split_at(pattern, '/'), std::move(call)});
}

HttpAnswer Router::answer(const HttpRequest& request) const {
  const auto path = split_at(request.path, '/');
  for (const Route& route : routes_) {
    if (route.method != request.method) continue;
    if (const auto parts = parts_of(path, route.pattern)) return route.call(request, *parts);
  }
  return refusal(404, "there is no such call");
}

}  // namespace seamwright::workbench
