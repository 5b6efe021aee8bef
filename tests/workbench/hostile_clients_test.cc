// Clients that mean no good, over loopback: requests within requests, bodies longer than they say,
// connections that never come to an end. All bounded in number.

#include <chrono>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "tests/fuzz/kept_seeds.h"
#include "tests/fuzz/mutate.h"
#include "tests/support/random.h"
#include "tests/workbench/running_server.h"

using namespace seamwright;
using namespace std::chrono_literals;
using test::HttpHeaders;
using test::RawClient;
using test::request_text;
using test::RunningServer;
using workbench::HttpLimits;

namespace {

const std::string kUndo = "/api/shots/0/undo";

int answers_in(const std::string& text) {
  int count = 0;
  for (auto at = text.find("HTTP/1.1 "); at != std::string::npos;
       at = text.find("HTTP/1.1 ", at + 1)) {
    ++count;
  }
  return count;
}

// All that the server says to a request until it closes. What is within the request follows by
// itself, so that no buffer of the server swallows it along with the head.
std::string all_answers(const RunningServer& running, const std::string& head,
                        const std::string& within = {}) {
  RawClient client(running.server.port());
  client.send(head);
  if (!within.empty()) {
    std::this_thread::sleep_for(20ms);
    client.send(within);
  }
  const auto text = client.to_end();
  REQUIRE(text);
  return *text;
}

// The same of a client that says no more than that.
std::string all_answers_at_end(const RunningServer& running, const std::string& text) {
  RawClient client(running.server.port());
  client.send(text);
  client.finish_sending();
  const auto answers = client.to_end();
  REQUIRE(answers);
  return *answers;
}

int requests_in(const std::string& text) {
  int count = 0;
  for (auto at = text.find(" HTTP/1."); at != std::string::npos;
       at = text.find(" HTTP/1.", at + 1)) {
    ++count;
  }
  return count;
}

std::string chunk(const std::string& bytes) {
  return fmt::format("{:x}\r\n{}\r\n", bytes.size(), bytes);
}

// A kept request, with what this very server wants to see.
std::string addressed_to(const RunningServer& running, std::string request) {
  const std::pair<std::string, std::string> blanks[] = {
      {"{host}", running.host()}, {"{cookie}", running.cookie}, {"{token}", running.token}};
  for (const auto& [blank, value] : blanks) {
    for (auto at = request.find(blank); at != std::string::npos; at = request.find(blank, at)) {
      request.replace(at, blank.size(), value);
    }
  }
  return request;
}

HttpHeaders json_headers(const RunningServer& running, HttpHeaders changed = {}) {
  changed.emplace("Content-Type", "application/json");
  return running.with(changed);
}

}  // namespace

TEST_CASE("the body of a refused request is never answered as a request") {
  const RunningServer running;
  // All that a request needs, as a browser's next one on the same connection might add it.
  const std::string within = request_text("GET", "/api/shots", running.headers());
  const std::string size = std::to_string(within.size());
  const auto head = [&](const char* method, HttpHeaders changed) {
    changed.emplace("Content-Length", size);
    return request_text(method, kUndo, json_headers(running, changed));
  };
  const std::string too_long = std::to_string(HttpLimits{}.most_body_bytes + 1);
  const std::pair<std::string, std::string> refused[] = {
      {"403", head("POST", {{"Cookie", ""}})},
      {"403", head("POST", {{"Origin", ""}})},
      {"403", head("POST", {{"Host", "a.example"}})},
      {"403", head("POST", {{"Origin", "http://a.example"}})},
      {"403", head("GET", {{"Cookie", ""}})},
      {"405", head("PUT", {})},
      {"415", head("POST", {{"Content-Type", "text/plain"}})},
      {"413", head("POST", {{"Content-Length", too_long}})},
      {"417", head("POST", {{"Expect", "100-continue"}})}};
  int cases = 0;
  for (const auto& [status, text] : refused) {
    CAPTURE(text);
    const std::string answers = all_answers(running, text, within);
    CHECK(answers_in(answers) == 1);
    CHECK(answers.substr(0, 12) == "HTTP/1.1 " + status);
    CHECK(answers_in(all_answers(running, text + within)) == 1);
    ++cases;
  }
  CHECK(cases == 9);
}

TEST_CASE("requests whose end can be read in two ways are refused") {
  const RunningServer running;
  const std::string within = request_text("GET", "/api/shots", running.headers());
  const std::string head = request_text("POST", kUndo, json_headers(running));
  const std::string start = head.substr(0, head.size() - 2);
  int cases = 0;
  for (const std::string lines :
       {"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n",
        "Transfer-Encoding: chunked\r\nContent-Length: 2\r\n",
        "Content-Length: 2\r\nContent-Length: 0\r\n", "Content-Length: 2, 0\r\n",
        "Content-Length: +2\r\n", "Content-Length: -1\r\n", "Content-Length: 0x2\r\n",
        "Content-Length: 99999999999999999999\r\n", "Transfer-Encoding: gzip, chunked\r\n",
        "Transfer-Encoding: chunked, gzip\r\n", "Transfer-Encoding: chunked, chunked\r\n",
        "Transfer-Encoding: xchunked\r\n", "Transfer-Encoding: identity\r\n",
        "Transfer-Encoding : chunked\r\n", "Transfer-Encoding:\r\n chunked, identity\r\n"}) {
    CAPTURE(lines);
    const std::string answers = all_answers(running, start + lines + "\r\n{}", within);
    CHECK(answers_in(answers) == 1);
    CHECK(answers.substr(0, 10) == "HTTP/1.1 4");
    ++cases;
  }
  CHECK(cases == 15);
}

TEST_CASE("bodies in chunks are counted while they are read") {
  const RunningServer running;
  const std::string head =
      request_text("POST", kUndo, json_headers(running, {{"Transfer-Encoding", "chunked"}}));
  {
    RawClient client(running.server.port());
    client.send(head + chunk("{") + chunk("}") + "0\r\n\r\n");
    CHECK(client.reply().status == 200);
  }
  constexpr std::size_t kPiece = 64 << 10;
  constexpr std::size_t kMost = 64 << 20;  // far more than sockets buffer
  for (const bool in_one : {false, true}) {
    CAPTURE(in_one);
    RawClient client(running.server.port());
    bool taken = client.send(head);
    if (in_one) taken = client.send(fmt::format("{:x}\r\n", kMost));
    std::size_t sent = 0;
    const std::string piece(kPiece, ' ');
    while (taken && sent < kMost) {
      taken = client.send(in_one ? piece : chunk(piece));
      sent += kPiece;
    }
    CHECK(sent < kMost);
    CHECK(client.reply().status == 413);
  }
}

TEST_CASE("bodies that are compressed are refused unread") {
  const RunningServer running;
  const std::string zipped(
      "\x1f\x8b\x08\x00\x00\x00\x00\x00\x02\x03\xab\xae\x05\x00\x43\xbf\xa6\xa3\x02\x00\x00\x00",
      22);
  for (const char* encoding : {"gzip", "GZIP", "deflate", "br", "gzip, identity", "unheard-of"}) {
    CAPTURE(encoding);
    const std::string answers = all_answers(
        running, request_text("POST", kUndo,
                              json_headers(running, {{"Content-Encoding", encoding}}), zipped));
    CHECK(answers_in(answers) == 1);
    CHECK(answers.substr(0, 12) == "HTTP/1.1 415");
  }
}

TEST_CASE("many slow clients keep out nobody, and stopping waits for none of them") {
  RunningServer running;
  std::vector<RawClient> slow;
  const auto dribble = [&] {
    for (RawClient& client : slow) client.send("x");
  };
  // Half of them say nothing of who they are; half could call, but never finish.
  const std::string unfinished =
      request_text("POST", kUndo, json_headers(running, {{"Content-Length", "200000"}}));
  for (int i = 0; i < 200; ++i) {
    slow.emplace_back(running.server.port());
    slow.back().send(i % 2 == 0 ? "GET /" : unfinished);
  }
  for (int round = 0; round < 5; ++round) {
    dribble();
    REQUIRE(running.get("/api/shots").status == 200);
    REQUIRE(running.post(kUndo, "{}").status == 200);
    REQUIRE(running.ask("GET", running.entrance, {{"Host", running.host()}}).status == 303);
  }
  running.stop();
  CHECK(slow.size() == 200);
  for (RawClient& client : slow) CHECK(client.is_closed());
}

TEST_CASE("a tab keeps its connection while others come and go") {
  const RunningServer running;
  RawClient tab(running.server.port());
  const std::string twice = request_text("GET", "/api/shots", running.headers());
  REQUIRE(tab.send(twice + twice));
  CHECK(tab.reply().status == 200);
  CHECK(tab.reply().status == 200);
  for (int i = 0; i < 200; ++i) static_cast<void>(RawClient(running.server.port()).send("G"));
  REQUIRE(tab.send(twice));
  CHECK(tab.reply().status == 200);
  // What cannot be done closes nothing.
  REQUIRE(tab.send(request_text("POST", "/api/shots/9/undo", json_headers(running), "{}") + twice));
  CHECK(tab.reply().status == 422);
  CHECK(tab.reply().status == 200);
}

TEST_CASE("broken requests are refused, and the server stays up") {
  const RunningServer running;
  CAPTURE(test::seed());
  test::Random random(11);
  std::vector<std::string> whole = {
      request_text("GET", "/api/shots", running.headers()),
      request_text("POST", kUndo, json_headers(running), "{}"),
      request_text("POST", kUndo, json_headers(running, {{"Transfer-Encoding", "chunked"}})) +
          chunk("{}") + "0\r\n\r\n"};
  for (const auto& [name, request] : test::kept_seeds("requests")) {
    CAPTURE(name);
    whole.push_back(addressed_to(running, request));
    CHECK(answers_in(all_answers_at_end(running, whole.back())) == requests_in(request));
  }
  int answered = 0;
  for (std::size_t i = 0; i < 300; ++i) {
    const std::string& sound = whole[i % whole.size()];
    std::string text = sound;
    if (random.chance(0.3)) {
      text = test::mutated_bytes(random, text, whole[(i + 1) % whole.size()]);
    } else {
      for (int k = random.integer(1, 4); k > 0; --k) {
        text[static_cast<std::size_t>(random.integer(0, static_cast<int>(text.size()) - 1))] =
            random.bytes(1)[0];
      }
    }
    CAPTURE(text);
    const std::string answers = all_answers_at_end(running, text);
    // Of a body that has become shorter, the rest may be refused.
    CHECK(answers_in(answers) <= requests_in(sound) + 1);
    if (!answers.empty()) ++answered;
  }
  CHECK(answered > 200);
  CHECK(running.get("/api/shots").status == 200);
}
