#include "jobs/tour/tour_page.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace seamwright;

namespace {

std::string between(const std::string& text, const std::string& begin, const std::string& end) {
  const auto from = text.find(begin);
  REQUIRE(from != std::string::npos);
  const auto to = text.find(end, from + begin.size());
  REQUIRE(to != std::string::npos);
  return text.substr(from + begin.size(), to - from - begin.size());
}

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t found = 0;
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++found;
  return found;
}

Tour one_room(const std::string& title) {
  Tour tour{.title = title, .start = "hall", .rooms = {}, .links = {}};
  tour.rooms.push_back(
      {.name = "hall", .title = title, .panorama = "hall.tif", .place = {}, .first_deg = {}});
  return tour;
}

}  // namespace

TEST_CASE("No name can end the script, or begin one", "[tour]") {
  const std::string evil = "</script><script>alert(1)</script><!-- \" ' & @DATA@ \xe2\x80\xa8";
  const std::string page = tour_page(one_room(evil), {{.folder = "rooms/hall", .sizes = {256}}});
  const std::string plain = tour_page(one_room("Hall"), {{.folder = "rooms/hall", .sizes = {256}}});
  for (const char* tag : {"<script", "</script", "<!--"}) {
    CAPTURE(tag);
    CHECK(count(page, tag) == count(plain, tag));
  }
  const auto data = nlohmann::json::parse(
      between(page, "<script type=\"application/json\" id=\"tour\">", "</script>"));
  CHECK(data["title"] == evil);
  CHECK(data["rooms"][0]["title"] == evil);
  CHECK(between(page, "<title>", "</title>").find("alert(1)") != std::string::npos);
  CHECK(between(page, "<title>", "</title>").find('<') == std::string::npos);
}

TEST_CASE("The page fetches nothing from elsewhere", "[tour]") {
  const std::string page = tour_page(one_room("Hall"), {{.folder = "rooms/hall", .sizes = {256}}});
  // An XML namespace is a name and is not fetched.
  CHECK(count(page, "http://") == count(page, "http://www.w3.org/2000/svg"));
  CHECK(count(page, "https://") == 0);
  const std::string policy = between(page, "Content-Security-Policy\" content=\"", "\"");
  CHECK(policy.find("default-src 'none'") != std::string::npos);
  CHECK(policy.find("unsafe") == std::string::npos);
}

TEST_CASE("The page knows its rooms", "[tour]") {
  Tour tour{.title = "House", .start = "yard", .rooms = {}, .links = {}};
  tour.rooms.push_back(
      {.name = "hall",
       .title = "Hall",
       .panorama = "hall.tif",
       .place = TourPlace{.network = 2, .right_m = 1, .ahead_m = 2, .heading_deg = 10},
       .first_deg = -30});
  tour.rooms.push_back(
      {.name = "yard", .title = "Yard", .panorama = "yard.tif", .place = {}, .first_deg = {}});
  tour.links = {
      {.from = "hall", .to = "yard", .origin = LinkOrigin::by_hand, .from_deg = 5, .to_deg = {}}};
  const std::string page = tour_page(tour, {{.folder = "rooms/hall", .sizes = {256, 1024}},
                                            {.folder = "rooms/yard", .sizes = {256}}});
  const auto data = nlohmann::json::parse(
      between(page, "<script type=\"application/json\" id=\"tour\">", "</script>"));
  CHECK(data["start"] == 1);
  const auto& hall = data["rooms"][0];
  CHECK(hall["network"] == 2);
  CHECK(hall["position_m"] == nlohmann::json{1.0, 2.0});
  CHECK(hall["heading_deg"] == 10.0);
  CHECK(hall["first_deg"] == -30.0);
  CHECK(hall["sizes"] == nlohmann::json{256, 1024});
  CHECK(hall["doors"] == nlohmann::json::parse(R"([{"to": 1, "bearing_deg": 5.0}])"));
  CHECK(data["rooms"][1]["doors"] == nlohmann::json::parse(R"([{"to": 0, "back_deg": 5.0}])"));
  CHECK(data["faces"].size() == 6);
}
