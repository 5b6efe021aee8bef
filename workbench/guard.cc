#include "workbench/guard.h"

#include <cstddef>
#include <random>

#include <fmt/format.h>

namespace seamwright::workbench {

namespace {

constexpr std::string_view kCookie = "seamwright-workbench";

// Takes the same time wherever they differ.
bool same(std::string_view one, std::string_view other) {
  if (one.size() != other.size()) return false;
  unsigned difference = 0;
  for (std::size_t i = 0; i < one.size(); ++i) {
    difference |= static_cast<unsigned char>(one[i]) ^ static_cast<unsigned char>(other[i]);
  }
  return difference == 0;
}

}  // namespace

bool Guard::is_own_host(std::string_view host) const {
  return host == fmt::format("127.0.0.1:{}", port_) || host == fmt::format("localhost:{}", port_);
}

bool Guard::has_token(std::string_view cookies) const {
  const std::string wanted = fmt::format("{}-{}={}", kCookie, port_, token_);
  while (!cookies.empty()) {
    const auto end = cookies.find(';');
    std::string_view one = cookies.substr(0, end);
    while (one.starts_with(' ')) one.remove_prefix(1);
    if (same(one, wanted)) return true;
    if (end == std::string_view::npos) break;
    cookies.remove_prefix(end + 1);
  }
  return false;
}

bool Guard::is_entrance(std::string_view path) const {
  constexpr std::string_view kEntrance = "/enter/";
  return path.starts_with(kEntrance) && same(path.substr(kEntrance.size()), token_);
}

std::string Guard::cookie() const {
  return fmt::format("{}-{}={}; Path=/; HttpOnly; SameSite=Strict", kCookie, port_, token_);
}

std::optional<Refusal> Guard::check(const Request& request) const {
  if (!is_own_host(request.host)) return Refusal{403, "this server has another name"};
  if (!request.origin.empty() &&
      (!request.origin.starts_with("http://") || !is_own_host(request.origin.substr(7)))) {
    return Refusal{403, "the request comes from another page"};
  }
  if (request.method != "GET" && request.method != "POST" && request.method != "DELETE") {
    return Refusal{405, "only GET, POST and DELETE are known"};
  }
  if (is_entrance(request.path) && request.method == "GET") return std::nullopt;
  if (!has_token(request.cookie)) {
    return Refusal{403, "open the address that seamwright workbench printed"};
  }
  if (request.method != "GET" && request.origin.empty()) {
    return Refusal{403, "the request does not say which page it comes from"};
  }
  if (request.method == "POST" && !request.content_type.starts_with("application/json")) {
    return Refusal{415, "send application/json"};
  }
  return std::nullopt;
}

std::string random_token() {
  std::random_device device;
  std::string token;
  for (int i = 0; i < 8; ++i) token += fmt::format("{:08x}", device());
  return token;
}

}  // namespace seamwright::workbench
