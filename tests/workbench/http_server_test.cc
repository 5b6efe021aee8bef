// What the server does with connections, whatever they ask for.

#include "apps/workbench/http_server.h"

#include <atomic>
#include <chrono>
#include <functional>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/workbench/http_client.h"

using namespace seamwright;
using namespace seamwright::workbench;
using namespace std::chrono_literals;
using test::RawClient;

namespace {

// Serves while it lives; lets in whoever asks for anything but /refused.
struct Serving {
  HttpServer http;
  std::thread thread;

  Serving(std::function<HttpAnswer(const HttpRequest&)> answer, HttpLimits limits)
      : http({.admit = [](const HttpRequest& head) -> std::optional<HttpAnswer> {
                if (head.path == "/refused") return refusal(403, "refused");
                return std::nullopt;
              },
              .answer = std::move(answer),
              .headers = {{"Cache-Control", "no-store"}}},
             limits) {
    if (auto bound = http.bind(); !bound) FAIL(bound.error().line());
    thread = std::thread([this] { static_cast<void>(http.run()); });
  }
  ~Serving() { stop(); }
  void stop() {
    http.stop();
    if (thread.joinable()) thread.join();
  }
  [[nodiscard]] test::HttpReply ask(const std::string& path) const {
    RawClient client(http.port());
    client.send(test::request_text("GET", path, {}));
    return client.reply();
  }
};

HttpAnswer plain(std::string body) {
  HttpAnswer answer;
  answer.type = "text/plain";
  answer.body = std::move(body);
  return answer;
}

HttpAnswer echo(const HttpRequest& request) {
  return plain(request.method + " " + request.path + " " + std::string(request.parameter("a")) +
               " " + std::string(request.header("x-more")) + " " + request.body);
}

// A byte now and then, until the server has had enough of it: a minute at most.
bool is_cut_off(RawClient& client, const std::string& bytes) {
  for (int i = 0; i < 3000; ++i) {
    const std::size_t at = static_cast<std::size_t>(i);
    if (!client.send(at < bytes.size() ? bytes.substr(at, 1) : "x")) return true;
    std::this_thread::sleep_for(20ms);
  }
  return false;
}

}  // namespace

TEST_CASE("a request is handed over as plain values") {
  const Serving serving(echo, {});
  RawClient client(serving.http.port());
  client.send(test::request_text("POST", "/b%20c?x=1&a=2%3D&a=3&=&y", {{"X-More", "m"}}, "{}"));
  const auto reply = client.reply();
  CHECK(reply.status == 200);
  CHECK(reply.body == "POST /b%20c 2%3D m {}");
  CHECK(reply.headers.at("cache-control") == "no-store");
  CHECK(serving.ask("/refused").headers.at("cache-control") == "no-store");
  client.send("GET / HTTP/1.1\r\nX-More: m\r\nx-more: n\r\n\r\n");
  CHECK(client.reply().body == "GET /  m, n ");
  const Serving faulty([](const HttpRequest&) -> HttpAnswer { throw std::runtime_error("no"); },
                       {});
  CHECK(faulty.ask("/").status == 500);
}

TEST_CASE("heads and bodies beyond the limit are refused") {
  const Serving serving(echo, {.most_head_bytes = 1000, .most_body_bytes = 1000});
  const auto post = [&](std::size_t head_bytes, std::size_t body_bytes) {
    RawClient client(serving.http.port());
    client.send(test::request_text("POST", "/", {{"X-More", std::string(head_bytes, 'x')}},
                                   std::string(body_bytes, 'x')));
    return client.reply().status;
  };
  CHECK(post(800, 1000) == 200);
  CHECK(post(1000, 1) == 431);
  CHECK(post(10, 1001) == 413);
  CHECK(post(1'000'000, 1) == 431);
}

TEST_CASE("a request that takes too long is cut off, however it dribbles") {
  const Serving serving(echo, {.reading = 300ms});
  RawClient mute(serving.http.port());
  RawClient in_head(serving.http.port());
  CHECK(is_cut_off(in_head, "GET / HTTP/1.1\r\nX-More: "));
  RawClient in_body(serving.http.port());
  CHECK(is_cut_off(in_body, "POST / HTTP/1.1\r\nContent-Length: 100000\r\n\r\n"));
  RawClient in_chunks(serving.http.port());
  in_chunks.send("POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n");
  CHECK(is_cut_off(in_chunks, "1\r\nx\r\n1\r\nx\r\nffff\r\n"));
  // Later ones on the same connection likewise.
  RawClient later(serving.http.port());
  later.send(test::request_text("GET", "/", {}));
  CHECK(later.reply().status == 200);
  CHECK(is_cut_off(later, "GET / HTTP/1.1\r\nX-More: "));
  CHECK(mute.is_closed());
  CHECK(serving.ask("/").status == 200);
}

TEST_CASE("a connection on which nothing is asked is closed") {
  const Serving serving(echo, {.idle = 300ms});
  RawClient client(serving.http.port());
  client.send(test::request_text("GET", "/", {}));
  CHECK(client.reply().status == 200);
  CHECK(client.is_closed());
}

TEST_CASE("an answer that nobody reads is given up, and makes room for another client") {
  constexpr std::size_t kBody = 32 << 20;  // more than sockets buffer
  std::atomic<bool> begun = false;
  const Serving serving(
      [&](const HttpRequest& request) {
        begun = true;
        return plain(request.path == "/large" ? std::string(kBody, 'x') : "small");
      },
      {.most_known = 1, .writing = 1s});
  RawClient unread(serving.http.port(), 4096);
  unread.send(test::request_text("GET", "/large", {}));
  while (!begun) std::this_thread::sleep_for(1ms);
  // None but the one that may be let in; what it asked for is not ended for another's sake.
  int refused = 0;
  test::HttpReply reply = serving.ask("/");
  for (int i = 0; i < 3000 && reply.status != 200; ++i) {
    if (reply.status == 503) ++refused;
    std::this_thread::sleep_for(20ms);
    reply = serving.ask("/");
  }
  CHECK(reply.status == 200);
  CHECK(refused > 0);
  const auto read = unread.to_end();
  REQUIRE(read);
  CHECK(read->size() < kBody);
}

TEST_CASE("the oldest connection that is waited for makes way for the next") {
  const Serving serving(echo, {.most_strangers = 3, .most_known = 2});
  const auto asked = [&](RawClient& client) {
    client.send(test::request_text("GET", "/", {}));
    return client.reply().status;
  };
  RawClient first(serving.http.port());
  RawClient second(serving.http.port());
  CHECK(asked(first) == 200);
  CHECK(asked(second) == 200);
  CHECK(asked(first) == 200);  // the second has waited longest now
  RawClient third(serving.http.port());
  CHECK(asked(third) == 200);
  CHECK(second.is_closed());
  CHECK(asked(first) == 200);
  // Strangers drive out strangers only.
  std::vector<RawClient> strangers;
  for (int i = 0; i < 20; ++i) strangers.emplace_back(serving.http.port());
  for (int i = 0; i < 17; ++i) CHECK(strangers[static_cast<std::size_t>(i)].is_closed());
  CHECK(asked(first) == 200);
  CHECK(asked(third) == 200);
}

TEST_CASE("events are streamed until they are over, to a few listeners") {
  std::atomic<bool> over = false;
  Serving serving(
      [&](const HttpRequest& request) {
        HttpAnswer answer = plain("small");
        if (request.path == "/events") {
          answer.type = "text/event-stream";
          answer.events = [&over, told = false]() mutable -> Events {
            if (over) return {.text = "data: last\n\n", .over = true};
            if (std::exchange(told, true)) return {};
            return {.text = "data: first\n\n"};
          };
        }
        return answer;
      },
      {.most_listeners = 2});
  const auto listener = [&] {
    RawClient client(serving.http.port());
    client.send(test::request_text("GET", "/events", {}));
    return client;
  };
  RawClient one = listener();
  RawClient two = listener();
  for (RawClient* client : {&one, &two}) {
    const auto head = client->reply_head();
    CHECK(head.status == 200);
    CHECK(head.headers.at("content-type") == "text/event-stream");
  }
  CHECK(listener().reply_head().status == 503);
  CHECK(serving.ask("/").status == 200);
  over = true;
  for (RawClient* client : {&one, &two}) {
    const auto text = client->to_end();
    REQUIRE(text);
    CHECK(text->find("data: first") < text->find("data: last"));
    CHECK(text->find("data: last") != std::string::npos);
  }
  // Whoever is gone is found out, and others can listen; stopping waits for no listener.
  over = false;
  for (int i = 0; i < 2; ++i) CHECK(listener().reply_head().status == 200);
  int status = 503;
  for (int i = 0; i < 3000 && status == 503; ++i) {
    std::this_thread::sleep_for(20ms);
    RawClient again = listener();
    status = again.reply_head().status;
    if (status == 200) {
      serving.stop();
      CHECK(again.is_closed());
    }
  }
  CHECK(status == 200);
}

TEST_CASE("stopping waits for what is being worked on, and for nothing else") {
  std::atomic<bool> begun = false;
  std::atomic<bool> go_on = false;
  std::atomic<int> done = 0;
  Serving serving(
      [&](const HttpRequest&) {
        begun = true;
        while (!go_on) std::this_thread::sleep_for(1ms);
        ++done;
        return plain("done");
      },
      {.workers = 1});
  RawClient saving(serving.http.port());
  saving.send(test::request_text("GET", "/", {}));
  while (!begun) std::this_thread::sleep_for(1ms);
  RawClient behind(serving.http.port());
  behind.send(test::request_text("GET", "/", {}));
  serving.http.stop();
  CHECK(saving.is_closed());
  CHECK(behind.is_closed());
  CHECK(done == 0);
  go_on = true;
  serving.stop();
  CHECK(done == 1);
}

TEST_CASE("a server that was stopped before it ran does not run") {
  HttpServer http(
      {.admit = [](const HttpRequest&) { return std::nullopt; }, .answer = echo, .headers = {}},
      {});
  REQUIRE(http.bind());
  http.stop();
  CHECK(http.run());
}
