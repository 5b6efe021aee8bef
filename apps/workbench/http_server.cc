// The only source that knows of Boost.Asio and Beast.
#include "apps/workbench/http_server.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <limits>
#include <set>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/empty_body.hpp>
#include <boost/beast/http/error.hpp>
#include <boost/beast/http/message.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <fmt/format.h>

namespace seamwright::workbench {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::ip::tcp;
using boost::system::error_code;

namespace {

constexpr const char* kLoopback = "127.0.0.1";
// A chunk's header may be as long as what is buffered.
constexpr std::size_t kMoreBuffer_bytes = std::size_t{32} << 10U;
constexpr std::size_t kPiece_bytes = std::size_t{8} << 10U;
// News of a check is looked for so often, and a sign of life sent where there was none for long:
// whoever listens no more is found by it.
constexpr auto kEventPause = std::chrono::milliseconds(100);
constexpr int kPausesToSignOfLife = 10;
constexpr const char* kSignOfLife = ":\n\n";
// Where the system has no more sockets.
constexpr auto kAcceptPause = std::chrono::milliseconds(100);

std::string small_letters(beast::string_view text) {
  std::string small(text);
  for (char& c : small) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return small;
}

HttpRequest head_of(const http::request<http::string_body>& message) {
  HttpRequest head;
  head.method = std::string(message.method_string());
  put_target({message.target().data(), message.target().size()}, head);
  for (const auto& field : message) {
    std::string& value = head.headers[small_letters(field.name_string())];
    if (!value.empty()) value += ", ";
    value += std::string(field.value());
  }
  return head;
}

// A body that is not read as it is sent might be read differently by others on the way.
std::optional<HttpAnswer> unfit_body(const HttpRequest& head) {
  const auto coded = small_letters(std::string(head.header("content-encoding")));
  const auto sent_by = small_letters(std::string(head.header("transfer-encoding")));
  if ((!coded.empty() && coded != "identity") || (!sent_by.empty() && sent_by != "chunked")) {
    return refusal(415, "send the body as it is, not encoded");
  }
  if (!head.header("expect").empty()) return refusal(417, "send the body at once");
  return std::nullopt;
}

}  // namespace

struct HttpServer::State {
  State(Calls the_calls, HttpLimits the_limits)
      : calls(std::move(the_calls)), limits(the_limits), workers(the_limits.workers) {}

  const Calls calls;
  const HttpLimits limits;
  asio::io_context io{1};
  tcp::acceptor acceptor{io};
  asio::steady_timer pause{io};
  std::set<std::shared_ptr<Connection>> connections;
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
class HttpServer::Connection : public std::enable_shared_from_this<Connection> {
 public:
  Connection(State& state, tcp::socket socket) : state_(state), stream_(std::move(socket)) {}

  void begin();
  void close();
  [[nodiscard]] bool is_known() const { return known_; }
  [[nodiscard]] bool is_listening() const { return phase_ == Phase::listening; }
  /// The server waits for the client, which has sent no whole request.
  [[nodiscard]] bool is_waited_for() const { return phase_ == Phase::reading; }
  [[nodiscard]] std::uint64_t turn() const { return turn_; }

 private:
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

  State& state_;
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

template <typename Next>
auto HttpServer::Connection::then(Next next) {
  return [self = shared_from_this(), next](error_code code, std::size_t = 0) {
    if (self->phase_ == Phase::closed) return;
    if (code) return self->fail(code);
    next(*self);
  };
}

void HttpServer::Connection::begin() {
  error_code ignored;
  stream_.socket().set_option(tcp::no_delay(true), ignored);  // waiting for more costs 40 ms
  buffer_.max_size(state_.limits.most_head_bytes + kMoreBuffer_bytes);
  turn_ = state_.turns++;
  stream_.expires_after(state_.limits.reading);
  read_head();
}

void HttpServer::Connection::close() {
  if (phase_ == Phase::closed) return;
  phase_ = Phase::closed;
  event_pause_.cancel();
  stream_.close();
  state_.connections.erase(shared_from_this());
}

void HttpServer::Connection::fail(error_code code) {
  using Fault = http::error;
  static const auto& of_requests = http::make_error_code(Fault::end_of_stream).category();
  if (code.category() != of_requests || code == Fault::end_of_stream ||
      code == Fault::partial_message) {
    return close();
  }
  if (code == Fault::header_limit) return refuse(refusal(431, "the head is too long"));
  if (code == Fault::body_limit) return refuse(refusal(413, "the body is too long"));
  refuse(refusal(400, "this is no request"));
}

void HttpServer::Connection::wait_for_request() {
  phase_ = Phase::reading;
  turn_ = state_.turns++;
  if (buffer_.size() > 0) {
    stream_.expires_after(state_.limits.reading);
    return read_head();
  }
  stream_.expires_after(state_.limits.idle);
  stream_.async_read_some(buffer_.prepare(kPiece_bytes),
                          [self = shared_from_this()](error_code code, std::size_t count) {
                            if (self->phase_ == Phase::closed) return;
                            if (code) return self->close();
                            self->buffer_.commit(count);
                            self->stream_.expires_after(self->state_.limits.reading);
                            self->read_head();
                          });
}

void HttpServer::Connection::read_head() {
  parser_.emplace();
  parser_->header_limit(static_cast<std::uint32_t>(state_.limits.most_head_bytes));
  parser_->body_limit(std::numeric_limits<std::uint64_t>::max());  // the guard speaks first
  http::async_read_header(stream_, buffer_, *parser_,
                          then([](Connection& self) { self.head_is_there(); }));
}

void HttpServer::Connection::head_is_there() {
  request_ = head_of(parser_->get());
  keep_ = parser_->keep_alive();
  if (const auto answer = state_.calls.admit(request_)) return refuse(*answer);
  if (!known_ && !state_.make_room(true)) {
    return refuse(refusal(503, "too many are connected; close other tabs"));
  }
  known_ = true;
  if (const auto unfit = unfit_body(request_)) return refuse(*unfit);
  const auto most = state_.limits.most_body_bytes;
  if (parser_->content_length().value_or(0) > most) return fail(http::error::body_limit);
  if (parser_->is_done()) return work();
  parser_->body_limit(most);
  http::async_read(stream_, buffer_, *parser_, then([](Connection& self) { self.work(); }));
}

void HttpServer::Connection::work() {
  phase_ = Phase::working;
  stream_.expires_never();
  request_.body = std::move(parser_->get().body());
  asio::post(state_.workers, [self = shared_from_this(), request = std::move(request_)]() mutable {
    State& state = self->state_;
    // Nothing of the connection is left on this thread once the answer has gone.
    asio::post(state.io, [self = std::move(self), answer = state.answer_to(request)]() mutable {
      if (self->phase_ != Phase::closed) self->give(std::move(answer));
    });
  });
}

void HttpServer::Connection::give(HttpAnswer answer) {
  if (!answer.events) return send(answer);
  if (!state_.may_listen()) return refuse(refusal(503, "too many listen; close other tabs"));
  answer_ = std::move(answer);
  listen();
}

template <typename Body>
http::response<Body> HttpServer::Connection::response_to(const HttpAnswer& answer) const {
  constexpr unsigned kHttp11 = 11;
  http::response<Body> response{static_cast<http::status>(answer.status), kHttp11};
  for (const auto& [name, value] : state_.calls.headers) response.set(name, value);
  for (const auto& [name, value] : answer.headers) response.set(name, value);
  if (!answer.type.empty()) response.set(http::field::content_type, answer.type);
  response.keep_alive(keep_);
  return response;
}

void HttpServer::Connection::send(const HttpAnswer& answer) {
  response_ = response_to<http::string_body>(answer);
  if (parser_->get().method() != http::verb::head) response_->body() = answer.body;
  response_->prepare_payload();
  phase_ = Phase::working;
  stream_.expires_after(state_.limits.writing);
  http::async_write(stream_, *response_, then([](Connection& self) {
                      if (self.keep_) return self.wait_for_request();
                      self.drop_the_rest();
                    }));
}

// What follows of a request whose body was not read is never taken for another request.
void HttpServer::Connection::refuse(const HttpAnswer& answer) {
  keep_ = false;
  send(answer);
}

// Closed with bytes unread, the connection would be reset, and the answer with it.
void HttpServer::Connection::drop_the_rest() {
  phase_ = Phase::reading;
  turn_ = state_.turns++;
  error_code ignored;
  stream_.socket().shutdown(tcp::socket::shutdown_send, ignored);
  stream_.expires_after(state_.limits.dropping);
  read_and_drop(state_.limits.most_dropped_bytes);
}

void HttpServer::Connection::read_and_drop(std::size_t left_bytes) {
  stream_.async_read_some(asio::buffer(dropped_), [self = shared_from_this(), left_bytes](
                                                      error_code code, std::size_t count) {
    if (code || count >= left_bytes) return self->close();
    self->read_and_drop(left_bytes - count);
  });
}

void HttpServer::Connection::listen() {
  phase_ = Phase::listening;
  keep_ = false;  // the end of the events is the end of the connection
  event_head_ = response_to<http::empty_body>(answer_);
  stream_.expires_after(state_.limits.writing);
  http::async_write(stream_, *event_head_, then([](Connection& self) { self.tell(); }));
}

void HttpServer::Connection::tell() {
  events_ = answer_.events();
  if (events_.text.empty() && ++silent_pauses_ >= kPausesToSignOfLife) events_.text = kSignOfLife;
  if (events_.text.empty()) return have_told();
  silent_pauses_ = 0;
  stream_.expires_after(state_.limits.writing);
  asio::async_write(stream_, asio::buffer(events_.text),
                    then([](Connection& self) { self.have_told(); }));
}

void HttpServer::Connection::have_told() {
  if (events_.over) return drop_the_rest();
  event_pause_.expires_after(kEventPause);
  event_pause_.async_wait(then([](Connection& self) { self.tell(); }));
}

void HttpServer::State::accept() {
  acceptor.async_accept([this](error_code code, tcp::socket socket) {
    if (code == asio::error::operation_aborted) return;
    if (code) {
      pause.expires_after(kAcceptPause);
      pause.async_wait([this](error_code) { accept(); });
      return;
    }
    if (make_room(false)) {
      const auto connection = std::make_shared<Connection>(*this, std::move(socket));
      connections.insert(connection);
      connection->begin();
    }
    accept();
  });
}

bool HttpServer::State::make_room(bool known) {
  std::size_t count = 0;
  std::shared_ptr<Connection> oldest;
  for (const auto& one : connections) {
    if (one->is_known() != known) continue;
    ++count;
    if (one->is_waited_for() && (!oldest || one->turn() < oldest->turn())) oldest = one;
  }
  if (count < (known ? limits.most_known : limits.most_strangers)) return true;
  if (oldest) oldest->close();
  return oldest != nullptr;
}

bool HttpServer::State::may_listen() const {
  const auto listening = std::count_if(connections.begin(), connections.end(),
                                       [](const auto& one) { return one->is_listening(); });
  return static_cast<std::size_t>(listening) < limits.most_listeners;
}

HttpAnswer HttpServer::State::answer_to(const HttpRequest& request) const {
  try {
    return calls.answer(request);
  } catch (...) {
    return refusal(500, "internal fault; what was edited is in the journal");
  }
}

HttpServer::HttpServer(Calls calls, HttpLimits limits)
    : state_(std::make_unique<State>(std::move(calls), limits)) {}

HttpServer::~HttpServer() { stop(); }

Result<void> HttpServer::bind() {
  error_code code;
  const tcp::endpoint wanted(asio::ip::make_address_v4(kLoopback), 0);
  tcp::acceptor& acceptor = state_->acceptor;
  acceptor.open(wanted.protocol(), code);
  if (!code) acceptor.bind(wanted, code);
  if (!code) acceptor.listen(asio::socket_base::max_listen_connections, code);
  if (!code) state_->port = acceptor.local_endpoint(code).port();
  if (!code) return {};
  return seamwright::fail({.kind = ErrorKind::io,
                           .where = kLoopback,
                           .field = {},
                           .what = "no port is free: " + code.message(),
                           .remedy = "close other programs that serve on this machine"});
}

int HttpServer::port() const { return state_->port; }

Result<void> HttpServer::run() {
  std::string fault;
  try {
    state_->accept();
    state_->io.run();
  } catch (const std::exception& caught) {
    fault = caught.what();
  }
  error_code ignored;
  state_->acceptor.close(ignored);
  state_->workers.stop();  // begins no other call
  while (!state_->connections.empty()) (*state_->connections.begin())->close();
  state_->workers.join();
  if (fault.empty()) return {};
  return seamwright::fail(
      {.kind = ErrorKind::io,
       .where = fmt::format("{}:{}", kLoopback, state_->port),
       .field = {},
       .what = "stopped serving: " + fault,
       .remedy = "start the workbench again; what was edited is in the journal"});
}

void HttpServer::stop() { state_->io.stop(); }

}  // namespace seamwright::workbench
