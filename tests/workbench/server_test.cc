#include "workbench/server.h"

#include <cmath>
#include <string>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>
#include <httplib.h>
#include <nlohmann/json.hpp>

#include "imaging/read_image.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"
#include "tests/workbench/small_shot.h"
#include "workbench/guard.h"

using namespace seamwright;
using namespace seamwright::workbench;
using test::ScratchDir;

namespace {

// A server that runs while this lives.
struct Running {
  ScratchDir scratch;
  Server server{{{"room", scratch / "room.shot.yaml", false, {"front.tif", "back.tif"}}},
                [](const ShotEntry&) -> Result<OpenedShot> { return test::small_shot(); }};
  std::thread thread;
  std::string secret;
  std::string cookie;

  Running() {
    if (auto bound = server.bind(); !bound) FAIL(bound.error().line());
    secret = server.address().substr(server.address().find("/enter/"));
    thread = std::thread([this] { static_cast<void>(server.run()); });
    httplib::Client client("127.0.0.1", server.port());
    client.set_connection_timeout(5);
    const auto entered = client.Get(secret);
    REQUIRE(entered);
    CHECK(entered->status == 303);
    const std::string set = entered->get_header_value("Set-Cookie");
    CHECK_THAT(set, Catch::Contains("HttpOnly") && Catch::Contains("SameSite=Strict"));
    cookie = set.substr(0, set.find(';'));
  }
  ~Running() {
    server.stop();
    thread.join();
  }
  [[nodiscard]] std::string origin() const {
    return "http://127.0.0.1:" + std::to_string(server.port());
  }
  [[nodiscard]] httplib::Headers headers() const {
    return {{"Cookie", cookie}, {"Origin", origin()}};
  }
  [[nodiscard]] int get(const std::string& path, const httplib::Headers& headers) const {
    httplib::Client client("127.0.0.1", server.port());
    const auto answer = client.Get(path, headers);
    return answer ? answer->status : 0;
  }
  [[nodiscard]] int post(const std::string& path, const std::string& body,
                         const httplib::Headers& headers,
                         const char* type = "application/json") const {
    httplib::Client client("127.0.0.1", server.port());
    const auto answer = client.Post(path, headers, body, type);
    return answer ? answer->status : 0;
  }
};

}  // namespace

TEST_CASE("the server lets in who has the secret, from its own page only") {
  const Running running;
  const auto with = [&](httplib::Headers more) {
    for (const auto& [name, value] : running.headers()) {
      if (more.count(name) == 0) more.emplace(name, value);
    }
    return more;
  };
  CHECK(running.get("/api/shots", running.headers()) == 200);
  CHECK(running.get("/api/shots", {}) == 403);
  CHECK(running.get("/api/shots", with({{"Cookie", running.cookie + "0"}})) == 403);
  CHECK(running.get("/api/shots", with({{"Cookie", "other=1; " + running.cookie}})) == 200);
  CHECK(running.get("/enter/" + std::string(64, '0'), {}) == 403);
  CHECK(running.get(running.secret.substr(0, running.secret.size() - 1), {}) == 403);
  CHECK(running.get("/api/shots", with({{"Host", "rebound.example"}})) == 403);
  CHECK(running.get("/api/shots", with({{"Host", "127.0.0.1"}})) == 403);
  CHECK(running.get("/api/shots", with({{"Origin", "http://elsewhere.example"}})) == 403);
  CHECK(running.get("/api/shots", with({{"Origin", "null"}})) == 403);
  CHECK(running.post("/api/shots/0/undo", "{}", running.headers()) == 200);
  CHECK(running.post("/api/shots/0/undo", "{}", {{"Cookie", running.cookie}}) == 403);
  CHECK(running.post("/api/shots/0/undo", "{}", running.headers(), "text/plain") == 415);
  httplib::Client client("127.0.0.1", running.server.port());
  CHECK(client.Put("/api/shots", running.headers(), "{}", "application/json")->status == 405);
  const auto answer = client.Get("/api/shots", running.headers());
  CHECK_THAT(answer->get_header_value("Content-Security-Policy"),
             Catch::Contains("default-src 'none'") && !Catch::Contains("unsafe"));
}

TEST_CASE("no path of a request is opened") {
  const Running running;
  test::put_file(running.scratch / "secret.txt", "secret");
  for (const std::string path :
       {"/../secret.txt", "/..%2fsecret.txt", "/%2e%2e/secret.txt", "/secret.txt", "//etc/passwd",
        "/api/shots/../../etc/passwd", "/api/shots/0/strips/0/0/..%2f..%2fsecret.txt",
        "/api/shots/-1", "/api/shots/99999999999999999999", "/api/shots/0x0"}) {
    CAPTURE(path);
    const int status = running.get(path, running.headers());
    CHECK((status == 404 || status == 400));
  }
  CHECK(running.get("/api/shots/7", running.headers()) == 422);
  CHECK(running.get("/api/shots/0/strips/0/5/template", running.headers()) == 422);
  CHECK(running.get("/api/shots/0/strips/0/0/template", running.headers()) == 200);
}

TEST_CASE("looks out of the shot are pictures of the size asked for") {
  const Running running;
  httplib::Client client("127.0.0.1", running.server.port());
  const std::string look =
      "/api/shots/0/look/touched?longitude_deg=88&latitude_deg=-5&field_deg=50";
  const auto picture = client.Get(look + "&width=96&height=64", running.headers());
  REQUIRE(picture->status == 200);
  CHECK(picture->get_header_value("Content-Type") == "image/jpeg");
  const test::ScratchDir scratch;
  test::put_file(scratch / "look.jpg", picture->body);
  const auto read = read_image(scratch / "look.jpg");
  REQUIRE(read);
  CHECK(read->width() == 96);
  CHECK(read->height() == 64);
  for (const char* wrong : {"&width=96", "&width=9&height=64", "&width=96&height=1e9",
                            "&width=96&height=nan", "&width=96&height=64px"}) {
    CAPTURE(wrong);
    CHECK(running.get(look + wrong, running.headers()) == 422);
  }
  CHECK(running.get("/api/shots/0/look/other", running.headers()) == 404);
  CHECK(running.get("/api/shots/3/sphere", running.headers()) == 422);
  const auto whole = client.Get("/api/shots/0/sphere", running.headers());
  REQUIRE(whole->status == 200);
  test::put_file(scratch / "sphere.jpg", whole->body);
  CHECK(read_image(scratch / "sphere.jpg")->width() == Desk::kSphereWidth_px);

  // The ring runs through the places at right angles to both lenses.
  const auto view = nlohmann::json::parse(client.Get("/api/shots/0", running.headers())->body);
  const double middle = 0.5 * view["pairs"][0]["height_px"].get<double>();
  const auto asked = nlohmann::json{{"pair", 0}, {"at", {1.0, middle}}}.dump();
  const auto answer =
      client.Post("/api/shots/0/place", running.headers(), asked, "application/json");
  REQUIRE(answer->status == 200);
  const auto place = nlohmann::json::parse(answer->body)["on_sphere"];
  const double longitude_rad = rad_from_deg(place[0].get<double>());
  CHECK(std::cos(longitude_rad) * std::cos(rad_from_deg(place[1].get<double>())) ==
        Approx(0).margin(0.02));
}

TEST_CASE("a marked edge levels the sphere at once, and goes with its removal") {
  const Running running;
  httplib::Client client("127.0.0.1", running.server.port());
  const auto call = [&](const std::string& what, const nlohmann::json& body) {
    const auto answer =
        client.Post("/api/shots/0/" + what, running.headers(), body.dump(), "application/json");
    REQUIRE(answer);
    return std::pair(answer->status, nlohmann::json::parse(answer->body));
  };
  const auto picture = [&] {
    return client
        .Get(
            "/api/shots/0/look/touched?longitude_deg=0&latitude_deg=0&field_deg=60&width=64&"
            "height=48",
            running.headers())
        ->body;
  };
  const auto add = [](double lower_rad, double upper_rad, double longitude_rad) {
    return nlohmann::json{
        {"kind", "add-vertical"},
        {"vertical",
         {{"ends_rad", {{longitude_rad + upper_rad, 0.5}, {longitude_rad + lower_rad, -0.5}}}}}};
  };
  const std::string as_it_stood = picture();
  CHECK(nlohmann::json::parse(client.Get("/api/shots/0", running.headers())->body)["level"]
            .is_null());

  // Ahead, its upper end to the right: the sphere rolls to the left until it is upright.
  const auto [status, one] = call("edits", add(-0.05, 0.05, 0));
  REQUIRE(status == 200);
  REQUIRE(one["verticals"].size() == 1);
  CHECK(one["verticals"][0]["on_sphere"][0][1].get<double>() == Approx(deg_from_rad(0.5)));
  CHECK(one["unsaved"] == true);
  const auto& rows = one["level"]["levelled_from_rig"];
  const auto turned = [&](const nlohmann::json& end) {
    const Vec3 d = PanoramaPlace{end[0].get<double>(), end[1].get<double>()}.direction();
    Vec3 out;
    for (int i = 0; i < 3; ++i) {
      const auto& row = rows[static_cast<std::size_t>(i)];
      out[i] = row[0].get<double>() * d.x() + row[1].get<double>() * d.y() +
               row[2].get<double>() * d.z();
    }
    return place_of(out);
  };
  const auto ends = one["verticals"][0]["ends_rad"];
  CHECK(turned(ends[0]).longitude_rad == Approx(turned(ends[1]).longitude_rad).margin(1e-4));
  // tan(tilt) is tan(0.05) cos(0.5) / sin(0.5), the slope of its plane.
  CHECK(one["level"]["tilt_deg"].get<double>() ==
        Approx(deg_from_rad(std::atan(std::tan(0.05) / std::tan(0.5)))).margin(1e-2));
  const std::string levelled = picture();
  CHECK(levelled != as_it_stood);

  const auto [two_status, two] = call("edits", add(-0.03, 0.03, 1.5));
  REQUIRE(two_status == 200);
  CHECK(two["verticals"].size() == 2);
  CHECK(picture() != levelled);
  CHECK(call("undo", nlohmann::json::object()).second["verticals"].size() == 1);
  CHECK(picture() == levelled);

  // No edge that lies, none without length; the shot stays as it was.
  CHECK(call("edits",
             {{"kind", "add-vertical"}, {"vertical", {{"ends_rad", {{-1.0, -0.3}, {1.0, -0.3}}}}}})
            .first == 422);
  CHECK(call("edits", add(0, 0, 4)).first == 422);  // longitude beyond half a turn
  for (const nlohmann::json& ends_rad :
       {nlohmann::json{{0.1, 0.2}}, nlohmann::json{{0.1, 0.2}, {0.1, 0.2}},
        nlohmann::json{{0.1, 0.2}, {0.1, "0.3"}}, nlohmann::json{{0.1, 0.2}, {0.1}},
        nlohmann::json(7)}) {
    CAPTURE(ends_rad.dump());
    const auto [wrong, answer] =
        call("edits", {{"kind", "add-vertical"}, {"vertical", {{"ends_rad", ends_rad}}}});
    CHECK(wrong == 422);
    CHECK_THAT(answer["error"].get<std::string>(), Catch::Contains("ends"));
  }
  CHECK(call("edits", {{"kind", "remove-vertical"}, {"index", 1}}).first == 422);
  const auto [saved, view] = call("save", nlohmann::json::object());
  CHECK(saved == 200);
  CHECK(view["unsaved"] == false);
  const auto shot = read_shot_file(running.scratch / "room.shot.yaml");
  REQUIRE(shot);
  CHECK(shot->verticals.size() == 1);
  const auto [removed, rest] = call("edits", {{"kind", "remove-vertical"}, {"index", 0}});
  CHECK(removed == 200);
  CHECK(rest["level"].is_null());
  CHECK(picture() == as_it_stood);
}

TEST_CASE("huge and broken bodies are refused, and the server stays up") {
  const Running running;
  const std::string huge(Server::kMostBody_bytes + 1, ' ');
  CHECK(running.post("/api/shots/0/edits", huge, running.headers()) == 413);
  CHECK(running.post("/api/shots/0/edits", std::string(100'000, '['), running.headers()) == 400);
  CAPTURE(test::seed());
  test::Random random(3);
  const std::string bodies[] = {
      R"({"kind":"add-tie","tie":{"range":"open","sigma_px":0.5,"sights":[{"lens":0,"px":[80,10]},{"lens":1,"px":[80,10]}]}})",
      R"({"pair":0,"lens":0,"at":[100,5]})", R"({"id":1,"lens":0,"at":[100,5]})",
      R"({"pair":0,"wish":"away","lens":0,"reach_px":4,"path":[[10,5],[20,5]]})",
      R"({"kind":"add-vertical","vertical":{"ends_rad":[[0.1,0.4],[0.1,-0.3]]}})"};
  const std::string calls[] = {"edits", "match", "move", "draw", "edits"};
  int refused = 0;
  for (int i = 0; i < 200; ++i) {
    std::string body = bodies[i % 5];
    for (int k = 0; k < 3; ++k) {
      body[static_cast<std::size_t>(random.integer(0, static_cast<int>(body.size()) - 1))] =
          random.bytes(1)[0];
    }
    const int status = running.post("/api/shots/0/" + calls[i % 5], body, running.headers());
    CAPTURE(body);
    CHECK((status == 200 || status == 400 || status == 422));
    if (status != 200) ++refused;
  }
  CHECK(refused > 100);
  CHECK(running.get("/api/shots", running.headers()) == 200);
}

TEST_CASE("a check tells of its way until it is over") {
  const Running running;
  httplib::Client client("127.0.0.1", running.server.port());
  CHECK(running.get("/api/shots/0/picture", running.headers()) == 422);
  CHECK(client.Post("/api/check", running.headers(), "{}", "application/json")->status == 200);
  const auto events = client.Get("/api/check/events", running.headers());
  REQUIRE(events);
  CHECK(events->get_header_value("Content-Type") == "text/event-stream");
  CHECK_THAT(events->body, Catch::Contains("data: {") && Catch::Contains("\"state\":\"done\""));
  const auto list = nlohmann::json::parse(client.Get("/api/shots", running.headers())->body);
  CHECK(list["order"] == std::vector{0});
  CHECK(list["shots"][0]["check"]["findings"][0]["kind"] == "unreadable");
  CHECK(running.get("/api/shots/0/picture", running.headers()) == 200);
  // What is saved is not known any more.
  CHECK(running.post("/api/shots/0/save", "{}", running.headers()) == 200);
  CHECK(running.get("/api/shots/0/picture", running.headers()) == 422);
  CHECK(client.Delete("/api/check", running.headers())->status == 200);
}

TEST_CASE("the secret is long and never twice the same") {
  CHECK(random_token().size() == 64);
  CHECK(random_token() != random_token());
}
