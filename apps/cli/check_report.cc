#include "apps/cli/check_report.h"

#include <algorithm>
#include <tuple>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace seamwright {

namespace {

constexpr std::size_t kMostExplained = 8;

std::string main_reason(const Checked& one) {
  if (!one.failure.empty()) return "could not be checked";
  if (one.found.findings.empty()) return "nothing found";
  std::string kinds;
  for (const Finding& finding : one.found.findings) {
    const std::string kind(name_of(finding.kind));
    if (kinds.find(kind) == std::string::npos) kinds += (kinds.empty() ? "" : ", ") + kind;
  }
  return kinds;
}

nlohmann::json place_json(const Finding& finding) {
  if (!finding.place) return nullptr;
  return {{"longitude_deg", deg_from_rad(finding.place->longitude_rad)},
          {"latitude_deg", deg_from_rad(finding.place->latitude_rad)}};
}

nlohmann::json ring_json(const RingCheck& ring) {
  nlohmann::json places = nlohmann::json::array();
  for (const RingPlace& place : ring.places) {
    places.push_back({{"lens_a", place.lens_a},
                      {"lens_b", place.lens_b},
                      {"azimuth_deg", deg_from_rad(place.psi_rad)},
                      {"parallax_px", place.parallax_px},
                      {"sideways_px", place.sideways_px},
                      {"sigma_px", place.sigma_px}});
  }
  return {{"readable", ring.readable},
          {"matched", ring.matched},
          {"consistent", ring.consistent},
          {"ties", ring.ties.ties.size()},
          {"p95_px", ring.p95_px},
          {"sigma_px", ring.sigma_px},
          {"expected_px", ring.expected_px},
          {"flex_deg", ring.flex_deg},
          {"unseen_share", ring.unseen_share},
          {"contradicts_template", ring.contradicts_template},
          {"places", places}};
}

nlohmann::json seams_json(const SeamCheck& seams) {
  nlohmann::json places = nlohmann::json::array();
  for (const SeamPlace& place : seams.places) {
    places.push_back({{"lens_a", place.lens_a},
                      {"lens_b", place.lens_b},
                      {"azimuth_deg", deg_from_rad(place.psi_rad)},
                      {"parallax_px", place.parallax_px},
                      {"sideways_px", place.sideways_px},
                      {"likeness", place.likeness},
                      {"contrast", place.contrast},
                      {"shows_px", place.shows_px},
                      {"tells", tells(place)}});
  }
  return {{"p95_px", seams.p95_px}, {"plain_share", seams.plain_share}, {"places", places}};
}

nlohmann::json light_json(const LightCheck& light) {
  nlohmann::json steps = nlohmann::json::array();
  for (const ColourStep& step : light.steps) {
    steps.push_back({{"lens_a", step.lens_a},
                     {"lens_b", step.lens_b},
                     {"azimuth_deg", deg_from_rad(step.psi_rad)},
                     {"delta_e2000", step.delta_e},
                     {"ties", step.ties}});
  }
  nlohmann::json blur = nlohmann::json::array();
  for (const PairBlur& pair : light.blur) {
    blur.push_back({{"lens_a", pair.lens_a},
                    {"lens_b", pair.lens_b},
                    {"octaves", pair.octaves},
                    {"ties", pair.ties}});
  }
  return {{"clipped_share", light.clipped_share}, {"steps", steps}, {"blur", blur}};
}

}  // namespace

bool nothing_wrong(const Checked& one) { return one.failure.empty() && one.found.findings.empty(); }

void rank(std::vector<Checked>& all) {
  std::stable_sort(all.begin(), all.end(), [](const Checked& a, const Checked& b) {
    const auto key = [](const Checked& one) {
      return std::tuple(one.failure.empty(), -one.found.score_px());
    };
    return std::tuple_cat(key(a), std::tie(a.found.name)) <
           std::tuple_cat(key(b), std::tie(b.found.name));
  });
}

void tell_checked(const Console& console, const std::vector<Checked>& all) {
  std::size_t width = 4;
  for (const Checked& one : all) width = std::max(width, one.found.name.size());
  console.say(fmt::format("{:<{}}  {:>6}  {}", "shot", width, "score", "why"));
  for (const Checked& one : all) {
    const std::string score =
        one.failure.empty() ? fmt::format("{:.1f}", one.found.score_px()) : "-";
    console.say(fmt::format("{:<{}}  {:>6}  {}", one.found.name, width, score, main_reason(one)));
  }
  console.say("score: as bad as a misalignment of so many px at the seam; 0: nothing found");
  std::size_t explained = 0;
  for (const Checked& one : all) {
    if (nothing_wrong(one)) continue;
    if (++explained > kMostExplained) {
      console.say("more of them: see --page or --json");
      break;
    }
    if (!one.failure.empty()) {
      console.say(fmt::format("{}: {}", one.found.name, one.failure));
    }
    for (const Finding& finding : one.found.findings) {
      console.say(fmt::format("{}: {}; {}", one.found.name, finding.words, finding.remedy));
    }
  }
}

nlohmann::json checked_as_json(const std::vector<Checked>& all) {
  nlohmann::json shots = nlohmann::json::array();
  for (const Checked& one : all) {
    nlohmann::json findings = nlohmann::json::array();
    for (const Finding& finding : one.found.findings) {
      findings.push_back({{"kind", name_of(finding.kind)},
                          {"size", finding.size},
                          {"bother_px", finding.bother_px},
                          {"place", place_json(finding)},
                          {"words", finding.words},
                          {"remedy", finding.remedy}});
    }
    nlohmann::json object = {
        {"name", one.found.name}, {"score_px", one.found.score_px()}, {"findings", findings}};
    if (!one.failure.empty()) object["failure"] = one.failure;
    if (one.shot) {
      object["ring"] = ring_json(one.shot->ring);
      object["light"] = light_json(one.shot->light);
      if (one.shot->seams) object["seams"] = seams_json(*one.shot->seams);
      object["tilt_deg"] =
          one.shot->tilt_deg ? nlohmann::json(*one.shot->tilt_deg) : nlohmann::json();
    }
    shots.push_back(std::move(object));
  }
  return {{"command", "check"}, {"shots", shots}};
}

}  // namespace seamwright
