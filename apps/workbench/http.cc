#include "apps/workbench/http.h"

#include <nlohmann/json.hpp>

namespace seamwright::workbench {

namespace {

using TextMap = std::map<std::string, std::string, std::less<>>;

std::string_view looked_up(const TextMap& map, std::string_view name) {
  const auto found = map.find(name);
  return found == map.end() ? std::string_view() : std::string_view(found->second);
}

}  // namespace

std::string_view HttpRequest::header(std::string_view name) const {
  return looked_up(headers, name);
}

std::string_view HttpRequest::parameter(std::string_view name) const {
  return looked_up(query, name);
}

void put_target(std::string_view target, HttpRequest& request) {
  const auto mark = target.find('?');
  request.path = target.substr(0, mark);
  while (target.find_first_of("?&") != std::string_view::npos) {
    target.remove_prefix(target.find_first_of("?&") + 1);
    const std::string_view one = target.substr(0, target.find('&'));
    const auto equals = one.find('=');
    const auto value = equals == std::string_view::npos ? "" : one.substr(equals + 1);
    request.query.emplace(one.substr(0, equals), value);
  }
}

HttpAnswer refusal(int status, const std::string& what) {
  // Never throws: what is no UTF-8 is replaced.
  using nlohmann::json;
  return {.status = status,
          .type = "application/json",
          .body = json{{"error", what}}.dump(-1, ' ', false, json::error_handler_t::replace),
          .headers = {},
          .events = {}};
}

}  // namespace seamwright::workbench
