#include "apps/workbench/server.h"

#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "apps/workbench/guard.h"
#include "apps/workbench/page_files.h"
#include "imaging/read_image.h"
#include "tests/support/random.h"
#include "tests/workbench/running_server.h"

using namespace seamwright;
using namespace seamwright::workbench;
using test::RunningServer;

TEST_CASE("the server lets in who has the secrets, from its own page only") {
  const RunningServer running;
  const auto get = [&](const std::string& path, const test::HttpHeaders& changed) {
    return running.ask("GET", path, running.with(changed)).status;
  };
  CHECK(get("/api/shots", {}) == 200);
  CHECK(get("/api/shots", {{"Cookie", ""}}) == 403);
  CHECK(get("/api/shots", {{"Cookie", running.cookie + "0"}}) == 403);
  CHECK(get("/api/shots", {{"Cookie", "other=1; " + running.cookie}}) == 200);
  CHECK(get("/api/shots", {{"Host", "rebound.example"}}) == 403);
  CHECK(get("/api/shots", {{"Host", "127.0.0.1"}}) == 403);
  CHECK(get("/api/shots", {{"Host", ""}}) == 403);
  CHECK(get("/api/shots", {{"Origin", "http://elsewhere.example"}}) == 403);
  CHECK(get("/api/shots", {{"Origin", "null"}}) == 403);
  const test::HttpHeaders stranger = {{"Host", running.host()}};
  CHECK(running.ask("GET", "/enter/" + std::string(64, '0'), stranger).status == 403);
  CHECK(running.ask("GET", running.entrance.substr(0, running.entrance.size() - 1), stranger)
            .status == 403);
  CHECK(running.ask("GET", "/", stranger).status == 403);
  CHECK(running.post("/api/shots/0/undo", "{}").status == 200);
  const auto post = [&](const test::HttpHeaders& changed) {
    return running.ask("POST", "/api/shots/0/undo", running.with(changed), "{}").status;
  };
  CHECK(post({{"Content-Type", "application/json"}, {"Origin", ""}}) == 403);
  CHECK(post({{"Content-Type", "text/plain"}}) == 415);
  CHECK(running.ask("PUT", "/api/shots", running.headers(), "{}").status == 405);
  const auto answer = running.get("/api/shots");
  CHECK_THAT(answer.headers.at("content-security-policy"),
             Catch::Contains("default-src 'none'") && !Catch::Contains("unsafe"));
  CHECK(answer.headers.at("x-content-type-options") == "nosniff");
}

TEST_CASE("no call is let in by the cookie alone, which other servers of this machine are sent") {
  const RunningServer running;
  const std::pair<std::string, std::string> calls[] = {{"GET", "/api/shots"},
                                                       {"GET", "/api/shots/0"},
                                                       {"GET", "/api/shots/0/sphere"},
                                                       {"GET", "/api/shots/0/strips/0/0/template"},
                                                       {"GET", "/api/check/events"},
                                                       {"GET", "/api/nothing"},
                                                       {"GET", "/nothing"},
                                                       {"DELETE", "/api/seam"},
                                                       {"POST", "/api/shots/0/save"},
                                                       {"POST", "/api/check"}};
  const std::string secret = running.cookie.substr(running.cookie.find('=') + 1);
  int asked = 0;
  for (const auto& [method, path] : calls) {
    for (const std::string& token :
         {std::string(), secret, running.entrance.substr(7), running.token + "0"}) {
      CAPTURE(method, path, token);
      CHECK(
          running
              .ask(method, path,
                   running.with({{"Workbench-Token", token}, {"Content-Type", "application/json"}}))
              .status == 403);
      ++asked;
    }
  }
  CHECK(asked == 40);
  // Nor does the cookie lead to the token: the page does not hold it, and no other address gives
  // it.
  CHECK(running.ask("GET", "/enter/" + secret, running.with({{"Workbench-Token", ""}})).status ==
        403);
  for (const PageFile& file : page_files()) {
    CHECK(file.bytes.find(running.token) == std::string_view::npos);
  }
  CHECK(running.get("/api/shots").status == 200);
}

TEST_CASE("no path of a request is opened") {
  const RunningServer running;
  test::put_file(running.scratch / "secret.txt", "secret");
  for (const std::string path :
       {"/../secret.txt", "/..%2fsecret.txt", "/%2e%2e/secret.txt", "/secret.txt", "//etc/passwd",
        "/api/shots/../../etc/passwd", "/api/shots/0/strips/0/0/..%2f..%2fsecret.txt",
        "/api/shots/-1", "/api/shots/99999999999999999999", "/api/shots/0x0"}) {
    CAPTURE(path);
    const int status = running.get(path).status;
    CHECK((status == 404 || status == 400));
  }
  CHECK(running.get("/api/shots/7").status == 422);
  CHECK(running.get("/api/shots/0/strips/0/5/template").status == 422);
  CHECK(running.get("/api/shots/0/strips/0/0/template").status == 200);
}

TEST_CASE("looks out of the shot are pictures of the size asked for") {
  const RunningServer running;
  const std::string look =
      "/api/shots/0/look/touched?longitude_deg=88&latitude_deg=-5&field_deg=50";
  const auto picture = running.get(look + "&width=96&height=64");
  REQUIRE(picture.status == 200);
  CHECK(picture.headers.at("content-type") == "image/jpeg");
  const test::ScratchDir scratch;
  test::put_file(scratch / "look.jpg", picture.body);
  const auto read = read_image(scratch / "look.jpg");
  REQUIRE(read);
  CHECK(read->width() == 96);
  CHECK(read->height() == 64);
  for (const char* wrong : {"&width=96", "&width=9&height=64", "&width=96&height=1e9",
                            "&width=96&height=nan", "&width=96&height=64px"}) {
    CAPTURE(wrong);
    CHECK(running.get(look + wrong).status == 422);
  }
  CHECK(running.get("/api/shots/0/look/other").status == 404);
  CHECK(running.get("/api/shots/3/sphere").status == 422);
  const auto whole = running.get("/api/shots/0/sphere");
  REQUIRE(whole.status == 200);
  test::put_file(scratch / "sphere.jpg", whole.body);
  CHECK(read_image(scratch / "sphere.jpg")->width() == Desk::kSphereWidth_px);

  // The ring runs through the places at right angles to both lenses.
  const auto view = nlohmann::json::parse(running.get("/api/shots/0").body);
  const double middle = 0.5 * view["pairs"][0]["height_px"].get<double>();
  const auto asked = nlohmann::json{{"pair", 0}, {"at", {1.0, middle}}}.dump();
  const auto answer = running.post("/api/shots/0/place", asked);
  REQUIRE(answer.status == 200);
  const auto place = nlohmann::json::parse(answer.body)["on_sphere"];
  const double longitude_rad = rad_from_deg(place[0].get<double>());
  CHECK(std::cos(longitude_rad) * std::cos(rad_from_deg(place[1].get<double>())) ==
        Approx(0).margin(0.02));
}

TEST_CASE("a marked edge levels the sphere at once, and goes with its removal") {
  const RunningServer running;
  const auto call = [&](const std::string& what, const nlohmann::json& body) {
    const auto answer = running.post("/api/shots/0/" + what, body.dump());
    return std::pair(answer.status, nlohmann::json::parse(answer.body));
  };
  const auto picture = [&] {
    return running
        .get(
            "/api/shots/0/look/touched?longitude_deg=0&latitude_deg=0&field_deg=60&width=64&"
            "height=48")
        .body;
  };
  const auto add = [](double lower_rad, double upper_rad, double longitude_rad) {
    return nlohmann::json{
        {"kind", "add-vertical"},
        {"vertical",
         {{"ends_rad", {{longitude_rad + upper_rad, 0.5}, {longitude_rad + lower_rad, -0.5}}}}}};
  };
  const std::string as_it_stood = picture();
  CHECK(nlohmann::json::parse(running.get("/api/shots/0").body)["level"].is_null());

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
  CHECK(call("edits", {{"kind", "remove-vertical"}, {"id", 2}}).first == 422);
  const auto [saved, view] = call("save", nlohmann::json::object());
  CHECK(saved == 200);
  CHECK(view["unsaved"] == false);
  const auto shot = read_shot_file(running.scratch / "room.shot.yaml");
  REQUIRE(shot);
  CHECK(shot->verticals.size() == 1);
  const auto [removed, rest] = call("edits", {{"kind", "remove-vertical"}, {"id", 1}});
  CHECK(removed == 200);
  CHECK(rest["level"].is_null());
  CHECK(picture() == as_it_stood);
}

TEST_CASE("huge and broken bodies are refused, and the server stays up") {
  const RunningServer running;
  const std::string huge(HttpLimits{}.most_body_bytes + 1, ' ');
  CHECK(running.post("/api/shots/0/edits", huge).status == 413);
  CHECK(running.post("/api/shots/0/edits", std::string(100'000, '[')).status == 400);
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
    const int status = running.post("/api/shots/0/" + calls[i % 5], body).status;
    CAPTURE(body);
    CHECK((status == 200 || status == 400 || status == 422));
    if (status != 200) ++refused;
  }
  CHECK(refused > 100);
  CHECK(running.get("/api/shots").status == 200);
}

TEST_CASE("a check tells of its way until it is over") {
  const RunningServer running;
  CHECK(running.get("/api/shots/0/picture").status == 422);
  CHECK(running.post("/api/check", "{}").status == 200);
  const auto events = running.get("/api/check/events");
  CHECK(events.headers.at("content-type") == "text/event-stream");
  CHECK_THAT(events.body, Catch::Contains("data: {") && Catch::Contains("\"state\":\"done\""));
  const auto list = nlohmann::json::parse(running.get("/api/shots").body);
  CHECK(list["order"] == std::vector{0});
  CHECK(list["shots"][0]["check"]["findings"][0]["kind"] == "unreadable");
  CHECK(running.get("/api/shots/0/picture").status == 200);
  // What is saved is not known any more.
  CHECK(running.post("/api/shots/0/save", "{}").status == 200);
  CHECK(running.get("/api/shots/0/picture").status == 422);
  CHECK(running.ask("DELETE", "/api/check", running.headers()).status == 200);
}

TEST_CASE("the secret is long and never twice the same") {
  CHECK(random_token().size() == 64);
  CHECK(random_token() != random_token());
}
