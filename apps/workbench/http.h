#pragma once

// A request and its answer as plain values. What reads them from the wire and writes them there is
// http_server.h; nothing else in this module knows of sockets.

#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace seamwright::workbench {

struct HttpRequest {
  std::string method;
  std::string path;  ///< as it was sent, without the query; nothing is decoded
  std::map<std::string, std::string, std::less<>> query;  ///< likewise
  /// Names in small letters; what was sent twice under one name stands joined by ", ".
  std::map<std::string, std::string, std::less<>> headers;
  std::string body;

  /// Empty where there is none of that name, which is given in small letters.
  [[nodiscard]] std::string_view header(std::string_view name) const;
  /// Empty where the query has none.
  [[nodiscard]] std::string_view parameter(std::string_view name) const;
};

/// Splits "/path?name=value&name=value" into a request's path and query.
void put_target(std::string_view target, HttpRequest& request);

/// What there is to say in a stream of events.
struct Events {
  std::string text;  ///< as it goes over the wire; empty: nothing new
  bool over = false;
};
/// Asked again and again while somebody listens; returns at once.
using EventsFn = std::function<Events()>;

struct HttpAnswer {
  int status = 200;
  std::string type;  ///< Content-Type
  std::string body;
  std::vector<std::pair<std::string, std::string>> headers;  ///< further ones
  EventsFn events;  ///< stands in place of a body where there is one
};

/// {"error": what}, as JSON.
[[nodiscard]] HttpAnswer refusal(int status, const std::string& what);

}  // namespace seamwright::workbench
