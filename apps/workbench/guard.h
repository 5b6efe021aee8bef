#pragma once

// Who may speak to the server. It listens on this machine only, but every page that a browser shows
// could send requests there, and a browser gives a cookie to every server of 127.0.0.1, whatever
// its port. So a call must carry two secrets, one in a cookie and one in a header that only the
// page itself can set; it must be meant for this very address, and may not come from another page.

#include <optional>
#include <string>
#include <string_view>

#include "apps/workbench/http.h"

namespace seamwright::workbench {

/// None follows from another.
struct Secrets {
  std::string entrance;  ///< in the address that the person is given
  std::string cookie;    ///< the browser's: for the page's own files and, with `call`, for calls
  std::string call;      ///< the page's, in a header; no other server of this machine ever sees it

  [[nodiscard]] static Secrets random();
};

class Guard {
 public:
  /// The header that holds Secrets::call, in small letters.
  static constexpr std::string_view kCallHeader = "workbench-token";

  Guard(Secrets secrets, int port) : secrets_(std::move(secrets)), port_(port) {}

  /// Empty: let it in. `is_page`: it asks for a file of the page, which holds no secret. Of the
  /// entrance's address, enter() is the answer.
  [[nodiscard]] std::optional<HttpAnswer> check(const HttpRequest& request, bool is_page) const;
  [[nodiscard]] bool is_entrance(const HttpRequest& request) const;
  /// Sets the cookie and leads to the page, with the other secret behind the address' #: that part
  /// stays in the browser.
  [[nodiscard]] HttpAnswer enter() const;

 private:
  [[nodiscard]] bool is_own_host(std::string_view host) const;
  [[nodiscard]] bool has_cookie(std::string_view cookies) const;

  Secrets secrets_;
  int port_;
};

/// 256 bits of the system's randomness, hex.
[[nodiscard]] std::string random_token();

}  // namespace seamwright::workbench
