#pragma once

#include <string>
#include <thread>

#include <catch2/catch.hpp>

#include "apps/workbench/server.h"
#include "tests/support/scratch_dir.h"
#include "tests/workbench/http_client.h"
#include "tests/workbench/small_shot.h"

namespace seamwright::test {

/// A server that runs while this lives, and a browser's tab that came by its address.
struct RunningServer {
  ScratchDir scratch;
  workbench::Server server;
  std::thread thread;
  std::string entrance;
  std::string cookie;
  std::string token;

  explicit RunningServer(workbench::HttpLimits limits = {})
      : server(
            {{"room", scratch / "room.shot.yaml", {}}},
            [](const workbench::ShotEntry&) -> Result<workbench::OpenedShot> {
              return small_shot();
            },
            limits) {
    if (auto bound = server.bind(); !bound) FAIL(bound.error().line());
    entrance = server.address().substr(server.address().find("/enter/"));
    thread = std::thread([this] { static_cast<void>(server.run()); });
    const HttpReply entered = ask("GET", entrance, {{"Host", host()}});
    CHECK(entered.status == 303);
    REQUIRE(entered.headers.count("set-cookie") == 1);
    const std::string set = entered.headers.at("set-cookie");
    CHECK_THAT(set, Catch::Contains("HttpOnly") && Catch::Contains("SameSite=Strict"));
    cookie = set.substr(0, set.find(';'));
    const std::string to = entered.headers.at("location");
    token = to.substr(to.find('#') + 1);
  }
  ~RunningServer() { stop(); }
  /// Returns once the server serves no more.
  void stop() {
    server.stop();
    if (thread.joinable()) thread.join();
  }
  [[nodiscard]] std::string host() const { return "127.0.0.1:" + std::to_string(server.port()); }
  /// Those of the page.
  [[nodiscard]] HttpHeaders headers() const {
    return {{"Host", host()},
            {"Cookie", cookie},
            {"Origin", "http://" + host()},
            {"Workbench-Token", token}};
  }
  /// Those of the page with some of them changed, or left out where the value is empty.
  [[nodiscard]] HttpHeaders with(const HttpHeaders& changed) const {
    HttpHeaders all = headers();
    for (const auto& [name, value] : changed) {
      all[name] = value;
      if (value.empty()) all.erase(name);
    }
    return all;
  }
  [[nodiscard]] HttpReply ask(const std::string& method, const std::string& path,
                              const HttpHeaders& headers, const std::string& body = {}) const {
    RawClient client(server.port());
    client.send(request_text(method, path, headers, body));
    return client.reply();
  }
  [[nodiscard]] HttpReply get(const std::string& path) const { return ask("GET", path, headers()); }
  [[nodiscard]] HttpReply post(const std::string& path, const std::string& body) const {
    return ask("POST", path, with({{"Content-Type", "application/json"}}), body);
  }
};

}  // namespace seamwright::test
