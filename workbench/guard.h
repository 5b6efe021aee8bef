#pragma once

// Who may speak to the server. It listens on this machine only, but every page that a browser shows
// could send requests there: so a request must carry the secret that only the printed address (and
// then a cookie) holds, must be meant for this very address, and may not come from another page.

#include <optional>
#include <string>
#include <string_view>

namespace seamwright::workbench {

/// What of a request decides.
struct Request {
  std::string method;
  std::string path;
  std::string host;          ///< header Host
  std::string origin;        ///< header Origin; empty: none
  std::string cookie;        ///< header Cookie
  std::string content_type;  ///< header Content-Type
};

struct Refusal {
  int status = 403;
  std::string what;
};

class Guard {
 public:
  /// `token`: the secret, as random_token() gives.
  Guard(std::string token, int port) : token_(std::move(token)), port_(port) {}

  /// Empty: let it in. The address with the token itself is let in by is_entrance().
  [[nodiscard]] std::optional<Refusal> check(const Request& request) const;
  [[nodiscard]] bool is_entrance(std::string_view path) const;
  /// Value for Set-Cookie.
  [[nodiscard]] std::string cookie() const;

 private:
  [[nodiscard]] bool is_own_host(std::string_view host) const;
  [[nodiscard]] bool has_token(std::string_view cookies) const;

  std::string token_;
  int port_;
};

/// 256 bits of the system's randomness, hex.
[[nodiscard]] std::string random_token();

}  // namespace seamwright::workbench
