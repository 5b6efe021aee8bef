#include "apps/workbench/guard.h"

#include <cstddef>
#include <random>

#include <fmt/format.h>

namespace seamwright::workbench {

namespace {

constexpr std::string_view kCookie = "seamwright-workbench";
constexpr const char* kWayIn = "open the address that seamwright workbench printed";

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

Secrets Secrets::random() {
  return {.entrance = random_token(), .cookie = random_token(), .call = random_token()};
}

bool Guard::is_own_host(std::string_view host) const {
  return host == fmt::format("127.0.0.1:{}", port_) || host == fmt::format("localhost:{}", port_);
}

bool Guard::has_cookie(std::string_view cookies) const {
  const std::string wanted = fmt::format("{}-{}={}", kCookie, port_, secrets_.cookie);
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

bool Guard::is_entrance(const HttpRequest& request) const {
  constexpr std::string_view kEntrance = "/enter/";
  const std::string_view path = request.path;
  return request.method == "GET" && path.starts_with(kEntrance) &&
         same(path.substr(kEntrance.size()), secrets_.entrance);
}

HttpAnswer Guard::enter() const {
  return {.status = 303,
          .type = {},
          .body = {},
          .headers = {{"Set-Cookie", fmt::format("{}-{}={}; Path=/; HttpOnly; SameSite=Strict",
                                                 kCookie, port_, secrets_.cookie)},
                      {"Location", "/#" + secrets_.call}},
          .events = {}};
}

std::optional<HttpAnswer> Guard::check(const HttpRequest& request, bool is_page) const {
  if (!is_own_host(request.header("host"))) return refusal(403, "this server has another name");
  const std::string_view origin = request.header("origin");
  if (!origin.empty() && (!origin.starts_with("http://") || !is_own_host(origin.substr(7)))) {
    return refusal(403, "the request comes from another page");
  }
  if (request.method != "GET" && request.method != "POST" && request.method != "DELETE") {
    return refusal(405, "only GET, POST and DELETE are known");
  }
  if (is_entrance(request)) return std::nullopt;
  if (!has_cookie(request.header("cookie"))) return refusal(403, kWayIn);
  if (!is_page && !same(request.header(kCallHeader), secrets_.call)) return refusal(403, kWayIn);
  if (request.method != "GET" && origin.empty()) {
    return refusal(403, "the request does not say which page it comes from");
  }
  if (request.method == "POST" && !request.header("content-type").starts_with("application/json")) {
    return refusal(415, "send application/json");
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
