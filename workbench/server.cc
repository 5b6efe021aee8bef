#include "workbench/server.h"

#include <algorithm>
#include <array>
#include <atomic>
#include <charconv>
#include <cmath>
#include <cstddef>

#include <fmt/format.h>
#include <httplib.h>

#include "workbench/edit_json.h"
#include "workbench/guard.h"
#include "workbench/page_files.h"
#include "workbench/shot_calls.h"

namespace seamwright::workbench {

using nlohmann::json;

namespace {

constexpr std::size_t kThreads = 24;
constexpr const char* kJson = "application/json";
constexpr const char* kPolicy =
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

// Never throws: what is no UTF-8 is replaced.
std::string text_of(const json& value) {
  return value.dump(-1, ' ', false, json::error_handler_t::replace);
}

void refuse(httplib::Response& response, int status, const std::string& what) {
  response.status = status;
  response.set_content(text_of({{"error", what}}), kJson);
}

int status_of(const Error& error) { return error.kind == ErrorKind::io ? 500 : 422; }

void answer(httplib::Response& response, const Result<json>& result) {
  if (!result) return refuse(response, status_of(result.error()), result.error().line());
  response.set_content(text_of(*result), kJson);
}

// Captures of the routes are digits only, but may be too many.
int number_of(const std::string& digits) {
  int number = -1;
  const auto [end, code] = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  return code == std::errc{} && end == digits.data() + digits.size() ? number : -1;
}

int capture(const httplib::Request& request, std::size_t index) {
  return number_of(request.matches[index].str());
}

Result<double> parameter(const httplib::Request& request, const std::string& name) {
  const std::string text = request.get_param_value(name);
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

Result<FlatLook> look_of(const httplib::Request& request) {
  std::array<double, 5> numbers{};
  std::size_t count = 0;
  for (const char* name : {"longitude_deg", "latitude_deg", "field_deg", "width", "height"}) {
    const auto number = parameter(request, name);
    if (!number) return tl::unexpected(number.error());
    numbers[count++] = std::clamp(*number, -1e5, 1e5);
  }
  FlatLook look{.middle = {rad_from_deg(numbers[0]), rad_from_deg(numbers[1])},
                .field_deg = numbers[2],
                .width_px = static_cast<int>(numbers[3]),
                .height_px = static_cast<int>(numbers[4])};
  if (auto error = look.validate()) return fail(std::move(*error));
  return look;
}

Request facts_of(const httplib::Request& request) {
  return {.method = request.method,
          .path = request.path,
          .host = request.get_header_value("Host"),
          .origin = request.get_header_value("Origin"),
          .cookie = request.get_header_value("Cookie"),
          .content_type = request.get_header_value("Content-Type")};
}

}  // namespace

struct Server::State {
  State(std::vector<ShotEntry> shots, OpenShotFn open_shot)
      : calls(std::move(shots), std::move(open_shot)) {}

  httplib::Server http;
  ShotCalls calls;
  std::string token = random_token();
  int port = 0;
  std::atomic<bool> stopping = false;

  void protect();
  void serve_page();
  void serve_shots();
  void serve_sphere();
  void serve_seam();
  void serve_check();
  bool send_check(int& seen, httplib::DataSink& sink) const;
  // A call with a JSON body.
  using Call = Result<json> (ShotCalls::*)(int, const json&);
  void post(const std::string& what, Call call);
};

void Server::State::protect() {
  // A thread waits on each connection that a browser keeps.
  http.new_task_queue = [] { return new httplib::ThreadPool(kThreads); };
  http.set_payload_max_length(kMostBody_bytes);
  http.set_tcp_nodelay(true);  // answers are small: waiting for more of them costs 40 ms
  http.set_default_headers({{"Content-Security-Policy", kPolicy},
                            {"X-Content-Type-Options", "nosniff"},
                            {"Referrer-Policy", "no-referrer"},
                            {"Cross-Origin-Resource-Policy", "same-origin"},
                            {"Cache-Control", "no-store"}});
  http.set_pre_routing_handler(
      [this](const httplib::Request& request, httplib::Response& response) {
        const Guard guard(token, port);
        if (const auto refusal = guard.check(facts_of(request))) {
          refuse(response, refusal->status, refusal->what);
          return httplib::Server::HandlerResponse::Handled;
        }
        if (guard.is_entrance(request.path)) {
          response.set_header("Set-Cookie", guard.cookie());
          response.set_redirect("/", 303);
          return httplib::Server::HandlerResponse::Handled;
        }
        return httplib::Server::HandlerResponse::Unhandled;
      });
  http.set_exception_handler(
      [](const httplib::Request&, httplib::Response& response, const std::exception_ptr&) {
        refuse(response, 500, "internal fault; what was edited is in the journal");
      });
}

void Server::State::serve_page() {
  // Browsers ask for it unbidden.
  http.Get("/favicon.ico",
           [](const httplib::Request&, httplib::Response& response) { response.status = 204; });
  for (const PageFile& file : page_files()) {
    http.Get(std::string(file.path), [&file](const httplib::Request&, httplib::Response& response) {
      response.set_content(file.bytes.data(), file.bytes.size(), std::string(file.type));
    });
  }
}

void Server::State::post(const std::string& what, Call call) {
  http.Post("/api/shots/(\\d{1,6})/" + what,
            [this, call](const httplib::Request& request, httplib::Response& response) {
              const auto body = parsed(request.body);
              if (!body) return refuse(response, 400, body.error().line());
              answer(response, (calls.*call)(capture(request, 1), *body));
            });
}

void Server::State::serve_shots() {
  http.Get("/api/shots", [this](const httplib::Request&, httplib::Response& response) {
    answer(response, calls.list());
  });
  http.Get("/api/shots/(\\d{1,6})",
           [this](const httplib::Request& request, httplib::Response& response) {
             answer(response, calls.view(capture(request, 1)));
           });
  post("edits", &ShotCalls::edit);
  post("match", &ShotCalls::match);
  post("move", &ShotCalls::move);
  post("draw", &ShotCalls::draw);
  post("place", &ShotCalls::place_on_sphere);
  http.Post("/api/shots/(\\d{1,6})/(undo|redo|save)",
            [this](const httplib::Request& request, httplib::Response& response) {
              answer(response, calls.step(capture(request, 1), request.matches[2].str()));
            });
  http.Get("/api/shots/(\\d{1,6})/strips/(\\d{1,6})/(\\d{1,6})/(template|touched)",
           [this](const httplib::Request& request, httplib::Response& response) {
             const auto strip = calls.strip(capture(request, 1), capture(request, 2),
                                            capture(request, 3), request.matches[4] == "touched");
             if (!strip) return refuse(response, 422, strip.error().line());
             response.set_content(*strip, "image/jpeg");
           });
}

void Server::State::serve_sphere() {
  http.Get("/api/shots/(\\d{1,6})/look/(template|touched)", [this](const httplib::Request& request,
                                                                   httplib::Response& response) {
    const auto look = look_of(request);
    if (!look) return refuse(response, 422, look.error().line());
    const auto jpeg = calls.look(capture(request, 1), *look, request.matches[2] == "touched");
    if (!jpeg) return refuse(response, 422, jpeg.error().line());
    response.set_content(*jpeg, "image/jpeg");
  });
  http.Get("/api/shots/(\\d{1,6})/sphere",
           [this](const httplib::Request& request, httplib::Response& response) {
             const auto jpeg = calls.sphere(capture(request, 1));
             if (!jpeg) return refuse(response, 422, jpeg.error().line());
             response.set_content(*jpeg, "image/jpeg");
           });
}

void Server::State::serve_seam() {
  http.Post("/api/shots/(\\d{1,6})/seam",
            [this](const httplib::Request& request, httplib::Response& response) {
              answer(response, calls.find_seam(capture(request, 1)));
            });
  http.Get("/api/seam", [this](const httplib::Request&, httplib::Response& response) {
    answer(response, calls.seam_status());
  });
  http.Delete("/api/seam", [this](const httplib::Request&, httplib::Response& response) {
    calls.stop_seam();
    answer(response, calls.seam_status());
  });
}

// One event with the state of the check when it has changed, or a comment that shows whether
// anybody still listens; the last event says that it is over.
bool Server::State::send_check(int& seen, httplib::DataSink& sink) const {
  constexpr int kMostWait_ms = 500;
  const int change = calls.wait_for_check(seen, kMostWait_ms);
  if (stopping || !sink.is_writable()) return false;
  std::string event = ":\n\n";
  bool over = false;
  if (change != seen) {
    seen = change;
    const json status = calls.check_status();
    event = "data: " + text_of(status) + "\n\n";
    over = status["state"] != "working";
  }
  if (!sink.write(event.data(), event.size())) return false;
  if (over) sink.done();
  return true;
}

void Server::State::serve_check() {
  http.Get("/api/check", [this](const httplib::Request&, httplib::Response& response) {
    answer(response, calls.check_status());
  });
  http.Post("/api/check", [this](const httplib::Request&, httplib::Response& response) {
    answer(response, calls.start_check());
  });
  http.Delete("/api/check", [this](const httplib::Request&, httplib::Response& response) {
    answer(response, calls.stop_check());
  });
  http.Get("/api/check/events", [this](const httplib::Request&, httplib::Response& response) {
    const auto seen = std::make_shared<int>(-1);
    response.set_chunked_content_provider(
        "text/event-stream",
        [this, seen](std::size_t, httplib::DataSink& sink) { return send_check(*seen, sink); });
  });
  http.Get("/api/shots/(\\d{1,6})/picture",
           [this](const httplib::Request& request, httplib::Response& response) {
             const auto picture = calls.picture(capture(request, 1));
             if (!picture) return refuse(response, 422, picture.error().line());
             response.set_content(*picture, "image/jpeg");
           });
}

Server::Server(std::vector<ShotEntry> shots, OpenShotFn open_shot)
    : state_(std::make_unique<State>(std::move(shots), std::move(open_shot))) {
  state_->protect();
  state_->serve_page();
  state_->serve_shots();
  state_->serve_sphere();
  state_->serve_seam();
  state_->serve_check();
}

Server::~Server() { stop(); }

Result<void> Server::bind() {
  state_->port = state_->http.bind_to_any_port("127.0.0.1");
  if (state_->port > 0) return {};
  return fail({.kind = ErrorKind::io,
               .where = "127.0.0.1",
               .field = {},
               .what = "no port is free",
               .remedy = "close other programs that serve on this machine"});
}

int Server::port() const { return state_->port; }

std::string Server::address() const {
  return fmt::format("http://127.0.0.1:{}/enter/{}", state_->port, state_->token);
}

Result<void> Server::run() {
  if (state_->http.listen_after_bind()) return {};
  return fail({.kind = ErrorKind::io,
               .where = fmt::format("127.0.0.1:{}", state_->port),
               .field = {},
               .what = "stopped serving",
               .remedy = "start the workbench again; what was edited is in the journal"});
}

void Server::stop() {
  state_->stopping = true;
  static_cast<void>(state_->calls.stop_check());
  state_->http.stop();
}

}  // namespace seamwright::workbench
