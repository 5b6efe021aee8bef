#include "apps/workbench/http_connection.h"

#include <chrono>
#include <limits>
#include <string>
#include <utility>

#include <boost/asio/post.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/http/error.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/write.hpp>

namespace seamwright::workbench {

namespace {

// A chunk's header may be as long as what is buffered.
constexpr std::size_t kMoreBuffer_bytes = std::size_t{32} << 10U;
// News of a check is looked for so often, and a sign of life sent where there was none for long:
// whoever listens no more is found by it.
constexpr auto kEventPause = std::chrono::milliseconds(100);
constexpr int kPausesToSignOfLife = 10;
constexpr const char* kSignOfLife = ":\n\n";

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

template <typename Next>
auto HttpConnection::then(Next next) {
  return [self = shared_from_this(), next](error_code code, std::size_t = 0) {
    if (self->phase_ == Phase::closed) return;
    if (code) return self->fail(code);
    next(*self);
  };
}

void HttpConnection::begin() {
  error_code ignored;
  stream_.socket().set_option(tcp::no_delay(true), ignored);  // waiting for more costs 40 ms
  buffer_.max_size(state_.limits.most_head_bytes + kMoreBuffer_bytes);
  turn_ = state_.turns++;
  stream_.expires_after(state_.limits.reading);
  read_head();
}

void HttpConnection::close() {
  if (phase_ == Phase::closed) return;
  phase_ = Phase::closed;
  event_pause_.cancel();
  stream_.close();
  state_.connections.erase(shared_from_this());
}

void HttpConnection::fail(error_code code) {
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

void HttpConnection::wait_for_request() {
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

void HttpConnection::read_head() {
  parser_.emplace();
  parser_->header_limit(static_cast<std::uint32_t>(state_.limits.most_head_bytes));
  parser_->body_limit(std::numeric_limits<std::uint64_t>::max());  // the guard speaks first
  http::async_read_header(stream_, buffer_, *parser_,
                          then([](HttpConnection& self) { self.head_is_there(); }));
}

void HttpConnection::head_is_there() {
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
  http::async_read(stream_, buffer_, *parser_, then([](HttpConnection& self) { self.work(); }));
}

void HttpConnection::work() {
  phase_ = Phase::working;
  stream_.expires_never();
  request_.body = std::move(parser_->get().body());
  asio::post(state_.workers, [self = shared_from_this(), request = std::move(request_)]() mutable {
    HttpServerState& state = self->state_;
    // Nothing of the connection is left on this thread once the answer has gone.
    asio::post(state.io, [self = std::move(self), answer = state.answer_to(request)]() mutable {
      if (self->phase_ != Phase::closed) self->give(std::move(answer));
    });
  });
}

void HttpConnection::give(HttpAnswer answer) {
  if (!answer.events) return send(answer);
  if (!state_.may_listen()) return refuse(refusal(503, "too many listen; close other tabs"));
  answer_ = std::move(answer);
  listen();
}

template <typename Body>
http::response<Body> HttpConnection::response_to(const HttpAnswer& answer) const {
  constexpr unsigned kHttp11 = 11;
  http::response<Body> response{static_cast<http::status>(answer.status), kHttp11};
  for (const auto& [name, value] : state_.calls.headers) response.set(name, value);
  for (const auto& [name, value] : answer.headers) response.set(name, value);
  if (!answer.type.empty()) response.set(http::field::content_type, answer.type);
  response.keep_alive(keep_);
  return response;
}

void HttpConnection::send(const HttpAnswer& answer) {
  response_ = response_to<http::string_body>(answer);
  if (parser_->get().method() != http::verb::head) response_->body() = answer.body;
  response_->prepare_payload();
  phase_ = Phase::working;
  stream_.expires_after(state_.limits.writing);
  http::async_write(stream_, *response_, then([](HttpConnection& self) {
                      if (self.keep_) return self.wait_for_request();
                      self.drop_the_rest();
                    }));
}

// What follows of a request whose body was not read is never taken for another request.
void HttpConnection::refuse(const HttpAnswer& answer) {
  keep_ = false;
  send(answer);
}

// Closed with bytes unread, the connection would be reset, and the answer with it.
void HttpConnection::drop_the_rest() {
  phase_ = Phase::reading;
  turn_ = state_.turns++;
  error_code ignored;
  stream_.socket().shutdown(tcp::socket::shutdown_send, ignored);
  stream_.expires_after(state_.limits.dropping);
  read_and_drop(state_.limits.most_dropped_bytes);
}

void HttpConnection::read_and_drop(std::size_t left_bytes) {
  stream_.async_read_some(asio::buffer(dropped_), [self = shared_from_this(), left_bytes](
                                                      error_code code, std::size_t count) {
    if (code || count >= left_bytes) return self->close();
    self->read_and_drop(left_bytes - count);
  });
}

void HttpConnection::listen() {
  phase_ = Phase::listening;
  keep_ = false;  // the end of the events is the end of the connection
  event_head_ = response_to<http::empty_body>(answer_);
  stream_.expires_after(state_.limits.writing);
  http::async_write(stream_, *event_head_, then([](HttpConnection& self) { self.tell(); }));
}

void HttpConnection::tell() {
  events_ = answer_.events();
  if (events_.text.empty() && ++silent_pauses_ >= kPausesToSignOfLife) events_.text = kSignOfLife;
  if (events_.text.empty()) return have_told();
  silent_pauses_ = 0;
  stream_.expires_after(state_.limits.writing);
  asio::async_write(stream_, asio::buffer(events_.text),
                    then([](HttpConnection& self) { self.have_told(); }));
}

void HttpConnection::have_told() {
  if (events_.over) return drop_the_rest();
  event_pause_.expires_after(kEventPause);
  event_pause_.async_wait(then([](HttpConnection& self) { self.tell(); }));
}

}  // namespace seamwright::workbench
