#include "apps/workbench/server.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>

#include <fmt/format.h>

#include "apps/workbench/edit_json.h"
#include "apps/workbench/guard.h"
#include "apps/workbench/page_files.h"
#include "apps/workbench/router.h"
#include "apps/workbench/shot_calls.h"

namespace seamwright::workbench {

using nlohmann::json;

namespace {

constexpr const char* kJson = "application/json";
constexpr const char* kPolicy =
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
constexpr std::string_view kIcon = "/favicon.ico";

HttpAnswer answer_with(std::string body, std::string type) {
  HttpAnswer answer;
  answer.type = std::move(type);
  answer.body = std::move(body);
  return answer;
}

// Never throws: what is no UTF-8 is replaced.
std::string text_of(const json& value) {
  return value.dump(-1, ' ', false, json::error_handler_t::replace);
}

HttpAnswer answer_of(const Result<json>& result) {
  if (result) return answer_with(text_of(*result), kJson);
  return refusal(result.error().kind == ErrorKind::io ? 500 : 422, result.error().line());
}

HttpAnswer jpeg_answer(Result<std::string> jpeg) {
  if (!jpeg) return refusal(422, jpeg.error().line());
  return answer_with(std::move(*jpeg), "image/jpeg");
}

Result<double> number_in(const HttpRequest& request, const std::string& name) {
  const std::string_view text = request.parameter(name);
  double number = 0;
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (code == std::errc{} && end == text.data() + text.size() && std::isfinite(number)) {
    return number;
  }
  return fail({.kind = ErrorKind::user_input,
               .where = {},
               .field = name,
               .what = "is no number",
               .remedy = "docs/workbench-api.md has the form"});
}

Result<Preview> look_of(const HttpRequest& request) {
  std::array<double, 5> numbers{};
  std::size_t count = 0;
  for (const char* name : {"longitude_deg", "latitude_deg", "field_deg", "width", "height"}) {
    const auto number = number_in(request, name);
    if (!number) return tl::unexpected(number.error());
    numbers[count++] = std::clamp(*number, -1e5, 1e5);
  }
  Preview look{.middle = {rad_from_deg(numbers[0]), rad_from_deg(numbers[1])},
               .field_deg = numbers[2],
               .width_px = static_cast<int>(numbers[3]),
               .height_px = static_cast<int>(numbers[4])};
  if (auto error = look.validate()) return fail(std::move(*error));
  return look;
}

bool is_page(std::string_view path) {
  const auto files = page_files();
  return path == kIcon || std::any_of(files.begin(), files.end(),
                                      [&](const PageFile& file) { return file.path == path; });
}

// One event with the state of the check when it has changed; the last says that it is over.
EventsFn news_of_check(const ShotCalls& calls) {
  return [&calls, seen = -1]() mutable -> Events {
    const int change = calls.wait_for_check(seen, 0);
    if (change == seen) return {};
    seen = change;
    const json status = calls.check_status();
    return {.text = "data: " + text_of(status) + "\n\n", .over = status["state"] != "working"};
  };
}

}  // namespace

struct Server::State {
  State(std::vector<ShotEntry> shots, OpenShotFn open_shot, HttpLimits limits)
      : calls(std::move(shots), std::move(open_shot)), http(http_calls(), limits) {}

  ShotCalls calls;
  Secrets secrets = Secrets::random();
  Router router;
  HttpServer http;  // the last: its threads use all else

  void serve_page();
  void serve_shots();
  void serve_pictures();
  void serve_seam();
  void serve_check();

 private:
  HttpServer::Calls http_calls();
  [[nodiscard]] std::optional<HttpAnswer> admit(const HttpRequest& head) const;
  // A call with a JSON body about a shot.
  using Call = Result<json> (ShotCalls::*)(int, const json&);
  void post(const std::string& what, Call call);
};

HttpServer::Calls Server::State::http_calls() {
  return {.admit = [this](const HttpRequest& head) { return admit(head); },
          .answer = [this](const HttpRequest& request) { return router.answer(request); },
          .headers = {{"Content-Security-Policy", kPolicy},
                      {"X-Content-Type-Options", "nosniff"},
                      {"Referrer-Policy", "no-referrer"},
                      {"Cross-Origin-Resource-Policy", "same-origin"},
                      {"Cache-Control", "no-store"}}};
}

std::optional<HttpAnswer> Server::State::admit(const HttpRequest& head) const {
  const Guard guard(secrets, http.port());
  if (auto refused = guard.check(head, is_page(head.path))) return refused;
  if (guard.is_entrance(head)) return guard.enter();
  return std::nullopt;
}

void Server::State::serve_page() {
  // Browsers ask for it unbidden.
  router.add("GET", kIcon, [](const HttpRequest&, const PathParts&) {
    HttpAnswer answer;
    answer.status = 204;
    return answer;
  });
  for (const PageFile& file : page_files()) {
    router.add("GET", file.path, [&file](const HttpRequest&, const PathParts&) {
      return answer_with(std::string(file.bytes), std::string(file.type));
    });
  }
}

void Server::State::post(const std::string& what, Call call) {
  router.add("POST", "/api/shots/#/" + what,
             [this, call](const HttpRequest& request, const PathParts& parts) {
               const auto body = parsed(request.body);
               if (!body) return refusal(400, body.error().line());
               return answer_of((calls.*call)(parts.number(0), *body));
             });
}

void Server::State::serve_shots() {
  router.add("GET", "/api/shots",
             [this](const HttpRequest&, const PathParts&) { return answer_of(calls.list()); });
  router.add("GET", "/api/shots/#", [this](const HttpRequest&, const PathParts& parts) {
    return answer_of(calls.view(parts.number(0)));
  });
  post("edits", &ShotCalls::edit);
  post("match", &ShotCalls::match);
  post("move", &ShotCalls::move);
  post("draw", &ShotCalls::draw);
  post("place", &ShotCalls::place_on_sphere);
  router.add("POST", "/api/shots/#/undo|redo|save",
             [this](const HttpRequest&, const PathParts& parts) {
               return answer_of(calls.step(parts.number(0), parts.word(1)));
             });
}

void Server::State::serve_pictures() {
  router.add("GET", "/api/shots/#/strips/#/#/template|touched",
             [this](const HttpRequest&, const PathParts& parts) {
               return jpeg_answer(calls.strip(parts.number(0), parts.number(1), parts.number(2),
                                              parts.word(3) == "touched"));
             });
  router.add("GET", "/api/shots/#/look/template|touched",
             [this](const HttpRequest& request, const PathParts& parts) {
               const auto look = look_of(request);
               if (!look) return refusal(422, look.error().line());
               return jpeg_answer(calls.look(parts.number(0), *look, parts.word(1) == "touched"));
             });
  router.add("GET", "/api/shots/#/sphere", [this](const HttpRequest&, const PathParts& parts) {
    return jpeg_answer(calls.sphere(parts.number(0)));
  });
  router.add("GET", "/api/shots/#/picture", [this](const HttpRequest&, const PathParts& parts) {
    return jpeg_answer(calls.picture(parts.number(0)));
  });
}

void Server::State::serve_seam() {
  router.add("POST", "/api/shots/#/seam", [this](const HttpRequest&, const PathParts& parts) {
    return answer_of(calls.find_seam(parts.number(0)));
  });
  router.add("GET", "/api/seam", [this](const HttpRequest&, const PathParts&) {
    return answer_of(calls.seam_status());
  });
  router.add("DELETE", "/api/seam", [this](const HttpRequest&, const PathParts&) {
    calls.stop_seam();
    return answer_of(calls.seam_status());
  });
}

void Server::State::serve_check() {
  router.add("GET", "/api/check", [this](const HttpRequest&, const PathParts&) {
    return answer_of(calls.check_status());
  });
  router.add("POST", "/api/check", [this](const HttpRequest&, const PathParts&) {
    return answer_of(calls.start_check());
  });
  router.add("DELETE", "/api/check", [this](const HttpRequest&, const PathParts&) {
    return answer_of(calls.stop_check());
  });
  router.add("GET", "/api/check/events", [this](const HttpRequest&, const PathParts&) {
    HttpAnswer answer;
    answer.type = "text/event-stream";
    answer.events = news_of_check(calls);
    return answer;
  });
}

Server::Server(std::vector<ShotEntry> shots, OpenShotFn open_shot, HttpLimits limits)
    : state_(std::make_unique<State>(std::move(shots), std::move(open_shot), limits)) {
  state_->serve_page();
  state_->serve_shots();
  state_->serve_pictures();
  state_->serve_seam();
  state_->serve_check();
}

Server::~Server() { stop(); }

Result<void> Server::bind() { return state_->http.bind(); }

int Server::port() const { return state_->http.port(); }

std::string Server::address() const {
  return fmt::format("http://127.0.0.1:{}/enter/{}", state_->http.port(), state_->secrets.entrance);
}

Result<void> Server::run() { return state_->http.run(); }

void Server::stop() {
  static_cast<void>(state_->calls.stop_check());
  state_->http.stop();
}

}  // namespace seamwright::workbench
