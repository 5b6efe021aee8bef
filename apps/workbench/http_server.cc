#include "apps/workbench/http_server.h"

#include <algorithm>

#include <fmt/format.h>

#include "apps/workbench/http_connection.h"

namespace seamwright::workbench {

namespace {

constexpr const char* kLoopback = "127.0.0.1";
// Where the system has no more sockets.
constexpr auto kAcceptPause = std::chrono::milliseconds(100);

}  // namespace

void HttpServerState::accept() {
  acceptor.async_accept([this](error_code code, tcp::socket socket) {
    if (code == asio::error::operation_aborted) return;
    if (code) {
      pause.expires_after(kAcceptPause);
      pause.async_wait([this](error_code) { accept(); });
      return;
    }
    if (make_room(false)) {
      const auto connection = std::make_shared<HttpConnection>(*this, std::move(socket));
      connections.insert(connection);
      connection->begin();
    }
    accept();
  });
}

bool HttpServerState::make_room(bool known) {
  std::size_t count = 0;
  std::shared_ptr<HttpConnection> oldest;
  for (const auto& one : connections) {
    if (one->is_known() != known) continue;
    ++count;
    if (one->is_waited_for() && (!oldest || one->turn() < oldest->turn())) oldest = one;
  }
  if (count < (known ? limits.most_known : limits.most_strangers)) return true;
  if (oldest) oldest->close();
  return oldest != nullptr;
}

bool HttpServerState::may_listen() const {
  const auto listening = std::count_if(connections.begin(), connections.end(),
                                       [](const auto& one) { return one->is_listening(); });
  return static_cast<std::size_t>(listening) < limits.most_listeners;
}

HttpAnswer HttpServerState::answer_to(const HttpRequest& request) const {
  try {
    return calls.answer(request);
  } catch (...) {
    return refusal(500, "internal fault; what was edited is in the journal");
  }
}

HttpServer::HttpServer(Calls calls, HttpLimits limits)
    : state_(std::make_unique<HttpServerState>(std::move(calls), limits)) {}

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
