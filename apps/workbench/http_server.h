#pragma once

// Serves HTTP/1.1 on 127.0.0.1. One thread reads and writes all connections, so that a slow client
// costs a few kilobytes and no thread; calls are worked on beside it by a few threads. Whoever has
// not shown that he may call can neither fill memory nor keep others out: the oldest of such
// connections makes way for the next.

#include <chrono>
#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "apps/workbench/http.h"
#include "base/result.h"

namespace seamwright::workbench {

/// Judgements all. Requests under way take no more memory than most_known * most_body_bytes and as
/// much again for heads.
struct HttpLimits {
  /// Connections on which no request was let in yet. A browser opens two or three ahead of need.
  std::size_t most_strangers = 64;
  /// Connections of the client that may call. All clients of this machine come from one address, so
  /// it is the secret that tells them apart. A browser opens six for all its tabs together.
  std::size_t most_known = 64;
  /// Of the latter, those that listen to events. One for each tab in which a check runs.
  std::size_t most_listeners = 16;
  /// Request line and headers. Browsers send along the cookies of every server of this machine.
  std::size_t most_head_bytes = std::size_t{32} << 10U;
  /// Counted while it is read, however it was announced. The largest stroke takes 60 KiB.
  std::size_t most_body_bytes = std::size_t{256} << 10U;
  /// Read and dropped after a refusal, so that the client comes to read it.
  std::size_t most_dropped_bytes = std::size_t{1} << 20U;
  /// From a request's first byte to its last; for the first request from the connection on.
  std::chrono::milliseconds reading = std::chrono::seconds(10);
  /// For an answer, or one event. A picture has a few MiB.
  std::chrono::milliseconds writing = std::chrono::seconds(30);
  /// Between two requests. Browsers open another one when it is over.
  std::chrono::milliseconds idle = std::chrono::seconds(60);
  /// For what is dropped after a refusal.
  std::chrono::milliseconds dropping = std::chrono::seconds(2);
  /// Calls at a time: as many as a browser sends at a time, so that no edit waits for pictures.
  std::size_t workers = 6;
};

struct HttpServerState;

class HttpServer {
 public:
  struct Calls {
    /// Decides by the head alone, on the server's thread: an answer is sent in place of what was
    /// asked, and the connection then closed with its body unread.
    std::function<std::optional<HttpAnswer>(const HttpRequest& head)> admit;
    /// On a thread of its own. What it throws becomes a 500.
    std::function<HttpAnswer(const HttpRequest& request)> answer;
    /// In every answer.
    std::vector<std::pair<std::string, std::string>> headers;
  };

  HttpServer(Calls calls, HttpLimits limits);
  HttpServer(const HttpServer&) = delete;
  HttpServer& operator=(const HttpServer&) = delete;
  ~HttpServer();

  /// Takes a port of the system's choice; once, before run().
  [[nodiscard]] Result<void> bind();
  [[nodiscard]] int port() const;
  /// Serves until stop(). Then it waits for the calls that are being worked on, so that no Save is
  /// cut off, but for no client.
  [[nodiscard]] Result<void> run();
  /// From any thread, also before run(); for good.
  void stop();

 private:
  std::unique_ptr<HttpServerState> state_;
};

}  // namespace seamwright::workbench
