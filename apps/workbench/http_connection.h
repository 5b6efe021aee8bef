#pragma once

// One connection of the server, and what all of them share. Only this header and the sources that
// include it know of Boost.Asio and Beast.

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <set>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/empty_body.hpp>
#include <boost/beast/http/message.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/string_body.hpp>

#include "apps/workbench/http_server.h"

namespace seamwright::workbench {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::ip::tcp;
using boost::system::error_code;

class HttpConnection;

struct HttpServerState {
  HttpServerState(HttpServer::Calls the_calls, HttpLimits the_limits)
      : calls(std::move(the_calls)), limits(the_limits), workers(the_limits.workers) {}

  const HttpServer::Calls calls;
  const HttpLimits limits;
  asio::io_context io{1};
  tcp::acceptor acceptor{io};
  asio::steady_timer pause{io};
  std::set<std::shared_ptr<HttpConnection>> connections;
  std::uint64_t turns = 0;  // numbers what connections begin to wait for
  int port = 0;
  asio::thread_pool workers;  // the last: what it still works on uses all else

  void accept();
  /// Closes the connection of that kind that has kept the server waiting longest where there are as
  /// many as may be; false: none of them can go.
  bool make_room(bool known);
  [[nodiscard]] bool may_listen() const;
  [[nodiscard]] HttpAnswer answer_to(const HttpRequest& request) const;
};

// One request after the other. All on the server's thread; answers are made elsewhere.
class HttpConnection : public std::enable_shared_from_this<HttpConnection> {
 public:
  HttpConnection(HttpServerState& state, tcp::socket socket)
      : state_(state), stream_(std::move(socket)) {}

  void begin();
  void close();
  [[nodiscard]] bool is_known() const { return known_; }
  [[nodiscard]] bool is_listening() const { return phase_ == Phase::listening; }
  /// The server waits for the client, which has sent no whole request.
  [[nodiscard]] bool is_waited_for() const { return phase_ == Phase::reading; }
  [[nodiscard]] std::uint64_t turn() const { return turn_; }

 private:
  static constexpr std::size_t kPiece_bytes = std::size_t{8} << 10U;
  enum class Phase { reading, working, listening, closed };

  void wait_for_request();
  void read_head();
  void head_is_there();
  void work();
  void give(HttpAnswer answer);
  void send(const HttpAnswer& answer);
  void refuse(const HttpAnswer& answer);
  void listen();
  void tell();
  void have_told();
  void drop_the_rest();
  void read_and_drop(std::size_t left_bytes);
  void fail(error_code code);
  template <typename Body>
  [[nodiscard]] http::response<Body> response_to(const HttpAnswer& answer) const;
  // What goes on with the connection once an operation has succeeded; otherwise it ends.
  template <typename Next>
  [[nodiscard]] auto then(Next next);

  HttpServerState& state_;
  beast::tcp_stream stream_;
  beast::flat_buffer buffer_;
  std::optional<http::request_parser<http::string_body>> parser_;
  std::optional<http::response<http::string_body>> response_;
  std::optional<http::response<http::empty_body>> event_head_;
  HttpRequest request_;
  HttpAnswer answer_;  // while it is listening
  Events events_;
  asio::steady_timer event_pause_{stream_.get_executor()};
  int silent_pauses_ = 0;
  std::array<char, kPiece_bytes> dropped_{};
  Phase phase_ = Phase::reading;
  bool known_ = false;
  bool keep_ = false;
  std::uint64_t turn_ = 0;
};

}  // namespace seamwright::workbench
