#pragma once

// Which call a request means: a table of methods and paths.

#include <cstddef>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "apps/workbench/http.h"

namespace seamwright::workbench {

/// The parts of a path that its pattern leaves open, in order.
class PathParts {
 public:
  void add(std::string_view part) { parts_.emplace_back(part); }
  [[nodiscard]] const std::string& word(std::size_t index) const { return parts_.at(index); }
  /// Of a part that the pattern has as #.
  [[nodiscard]] int number(std::size_t index) const { return std::stoi(word(index)); }

 private:
  std::vector<std::string> parts_;
};

class Router {
 public:
  using Call = std::function<HttpAnswer(const HttpRequest&, const PathParts&)>;

  /// A pattern is a path in which # stands for a number of one to six digits and a|b for one of
  /// these words: "/api/shots/#/look/template|touched". Both become parts.
  void add(std::string method, std::string_view pattern, Call call);
  /// 404 where nothing fits.
  [[nodiscard]] HttpAnswer answer(const HttpRequest& request) const;

 private:
  struct Route {
    std::string method;
    std::vector<std::string> pattern;
    Call call;
  };
  std::vector<Route> routes_;
};

}  // namespace seamwright::workbench
