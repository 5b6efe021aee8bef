#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>

namespace seamwright::test {

using HttpHeaders = std::map<std::string, std::string>;

struct HttpReply {
  int status = 0;       ///< 0: the server closed without one
  HttpHeaders headers;  ///< names in small letters
  std::string body;
};

/// A connection to a port of this machine that says whatever a test wants. Waits a minute at most
/// for the server, so that a test fails rather than hangs.
class RawClient {
 public:
  /// `receive_bytes`: what the system buffers of what comes; 0: as it likes.
  explicit RawClient(int port, int receive_bytes = 0);
  RawClient(RawClient&& other) noexcept;
  RawClient& operator=(RawClient&&) = delete;
  ~RawClient();

  /// False: the server has closed, or takes nothing more.
  bool send(std::string_view bytes);
  /// Sends nothing more; what comes can still be read.
  void finish_sending();
  /// The next answer; one without Content-Length ends with the connection.
  [[nodiscard]] HttpReply reply();
  /// The same without its body, which is left to be read.
  [[nodiscard]] HttpReply reply_head();
  /// All that comes until the server closes; empty: it did not.
  [[nodiscard]] std::optional<std::string> to_end();
  /// The server has closed, or closes within a minute.
  [[nodiscard]] bool is_closed() { return to_end().has_value(); }

 private:
  // Adds to what was read; false at the end, and where nothing came.
  bool read_more();

  int socket_;
  bool ended_ = false;
  std::string read_;
};

/// The bytes of a request; Content-Length is added where there is a body.
[[nodiscard]] std::string request_text(const std::string& method, const std::string& path,
                                       const HttpHeaders& headers, const std::string& body = {});

}  // namespace seamwright::test
