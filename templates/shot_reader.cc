#include <array>
#include <cmath>
#include <map>
#include <utility>

#include <fmt/format.h>

#include "base/file.h"
#include "solver/shared_terms.h"
#include "templates/relative_path.h"
#include "templates/shot_file.h"
#include "templates/shot_keys.h"
#include "templates/shot_limits.h"
#include "templates/strict_map.h"
#include "templates/versioned.h"

namespace seamwright {

namespace {

/// The items of a list that may hold so many.
std::vector<StrictValue> some_of(const StrictValue& value, std::size_t most, const char* what) {
  std::vector<StrictValue> items = value.list();
  if (items.size() > most) {
    value.refuse(fmt::format("holds {} {}", items.size(), what),
                 fmt::format("give {} at most", most));
  }
  return items;
}

std::vector<int> read_quarter_turns(const StrictValue& value, int lens_count) {
  const std::vector<StrictValue> items = value.list();
  if (!items.empty() && items.size() != static_cast<std::size_t>(lens_count)) {
    value.refuse(fmt::format("holds {} turns for {} lenses", items.size(), lens_count),
                 "give one per lens, or [] for none");
  }
  std::vector<int> turns;
  for (const StrictValue& item : items) turns.push_back(item.whole(0, 3));
  return turns;
}

FrameIntake read_intake(const StrictMap& map, std::size_t file_count) {
  FrameIntake intake;
  intake.layout =
      static_cast<FrameLayout>(map.at("layout").choice({kLayoutNames.begin(), kLayoutNames.end()}));
  intake.lens_count = map.at("lens_count").whole(2, kMostLensesOfShot);
  const bool one_per_file = intake.layout == FrameLayout::one_per_file;
  const auto expected = one_per_file ? static_cast<std::size_t>(intake.lens_count) : 1U;
  if (file_count != expected) {
    map.at("frames").refuse(fmt::format("{} files, but layout {} with {} lenses has {}", file_count,
                                        kLayoutNames[static_cast<std::size_t>(intake.layout)],
                                        intake.lens_count, expected),
                            "correct frames, layout or lens_count");
  }
  intake.quarter_turns = read_quarter_turns(map.at("quarter_turns"), intake.lens_count);
  intake.mirrored = map.at("mirrored").flag();
  return intake;
}

BracketFrame read_bracket_frame(const StrictValue& value) {
  const StrictMap map(value, {"file", "ev"});
  BracketFrame frame{.file = read_relative_path(map.at("file")), .ev = {}};
  if (map.has("ev")) frame.ev = map.at("ev").number();
  return frame;
}

/// The exposures of one file of `frames`.
std::vector<BracketFrame> read_bracket(const StrictValue& value, const std::filesystem::path& own) {
  std::vector<BracketFrame> bracket;
  for (const StrictValue& item : value.list()) bracket.push_back(read_bracket_frame(item));
  if (bracket.size() < 2) {
    value.refuse(fmt::format("holds {} exposures", bracket.size()), "a bracket needs two at least");
  }
  std::size_t said = 0;
  bool holds_own = false;
  for (const BracketFrame& frame : bracket) {
    said += frame.ev ? 1 : 0;
    holds_own = holds_own || frame.file == own;
  }
  if (said != 0 && said != bracket.size()) {
    value.refuse(fmt::format("'ev' stands at {} of {} exposures", said, bracket.size()),
                 "give it for all, or leave it to EXIF for all");
  }
  if (!holds_own) {
    value.refuse(fmt::format("does not hold {}, its exposure in 'frames'", own.generic_string()),
                 "list it here, or name one of these in 'frames'");
  }
  return bracket;
}

void read_brackets(const StrictValue& value, ShotFile& shot) {
  const std::vector<StrictValue> items = value.list();
  if (items.size() != shot.frames.size()) {
    value.refuse(fmt::format("holds {} lists for {} frames", items.size(), shot.frames.size()),
                 "give one list of exposures per file of 'frames'");
  }
  for (std::size_t i = 0; i < items.size(); ++i) {
    shot.brackets.push_back(read_bracket(items[i], shot.frames[i]));
  }
}

TemplateReference read_reference(const StrictValue& value) {
  const StrictMap map(value, {"file", "sha256"});
  TemplateReference reference{.file = read_relative_path(map.at("file")), .sha256 = {}};
  if (map.has("sha256")) reference.sha256 = map.at("sha256").sha256();
  return reference;
}

ManualTie read_tie(const StrictValue& value, int lens_count) {
  const StrictMap map(value, {"range", "sigma_px", "sights"});
  ManualTie tie;
  tie.range =
      static_cast<TieRange>(map.at("range").choice({kRangeNames.begin(), kRangeNames.end()}));
  tie.sigma_px = map.at("sigma_px").number();
  std::array<bool, kMostLensesOfShot> seen{};
  for (const StrictValue& item : map.at("sights").list()) {
    const StrictMap sight(item, {"lens", "u_px", "v_px"});
    const int lens = sight.at("lens").whole(0, lens_count - 1);
    if (std::exchange(seen[static_cast<std::size_t>(lens)], true)) {
      sight.at("lens").refuse(fmt::format("lens {} sees this tie twice", lens), "remove one sight");
    }
    tie.sights.push_back({lens, Vec2(sight.at("u_px").number(), sight.at("v_px").number())});
  }
  if (tie.sights.size() < 2) {
    map.at("sights").refuse(fmt::format("holds {} sights", tie.sights.size()),
                            "a tie needs two lenses at least");
  }
  return tie;
}

/// Degrees within ± `most_deg`.
double read_angle(const StrictValue& value, double number_deg, double most_deg) {
  if (std::abs(number_deg) > most_deg) {
    value.refuse(fmt::format("{} is beyond ±{}", number_deg, most_deg),
                 "give longitude and latitude in degrees");
  }
  return rad_from_deg(number_deg);
}

PanoramaPlace read_place(const StrictValue& value) {
  const std::vector<double> place = value.numbers(2);
  return {read_angle(value, place[0], 180), read_angle(value, place[1], 90)};
}

SeamStroke read_stroke(const StrictValue& value, int lens_count) {
  const StrictMap map(value, {"wish", "lens", "reach_deg", "path_deg"});
  SeamStroke stroke;
  stroke.wish =
      static_cast<StrokeWish>(map.at("wish").choice({kWishNames.begin(), kWishNames.end()}));
  if (stroke.wish == StrokeWish::lens) {
    stroke.lens = map.at("lens").whole(0, lens_count - 1);
  } else if (map.has("lens")) {
    map.at("lens").refuse("means something with 'wish: lens' only", "remove it");
  }
  const StrictValue reach = map.at("reach_deg");
  stroke.reach_rad = rad_from_deg(reach.number());
  if (!(stroke.reach_rad > 0 && stroke.reach_rad <= 0.5 * kPi)) {
    reach.refuse("is not above 0 and up to 90", "give the brush's reach to both sides");
  }
  for (const StrictValue& item : some_of(map.at("path_deg"), kMostPlacesOfStroke, "places")) {
    stroke.path.push_back(read_place(item));
  }
  if (stroke.path.empty()) map.at("path_deg").refuse("is empty", "give one place at least");
  return stroke;
}

UprightEdge read_vertical(const StrictValue& value) {
  const StrictMap map(value, {"ends_deg"});
  const StrictValue ends = map.at("ends_deg");
  const std::vector<StrictValue> places = ends.list();
  UprightEdge edge;
  if (places.size() != edge.ends.size()) {
    ends.refuse(fmt::format("holds {} places", places.size()), "an upright edge has two ends");
  }
  for (std::size_t i = 0; i < places.size(); ++i) edge.ends[i] = read_place(places[i]);
  if (const auto error = edge.validate()) ends.refuse(error->what, error->remedy);
  return edge;
}

void read_verticals(const StrictValue& value, ShotFile& shot) {
  for (const StrictValue& item : some_of(value, UprightEdge::kMostOfShot, "edges")) {
    shot.verticals.push_back(read_vertical(item));
  }
}

/// The key of every term that a touch of that many lenses can move, with its name.
std::map<std::string, std::string> touch_terms(int lens_count, const LensTermNames& names) {
  std::map<std::string, std::string> name_of;
  for (const std::string& name : SharedTerms(lens_count, [](int, int) { return true; }).names()) {
    name_of[touch_key(name, names)] = name;
  }
  return name_of;
}

ShotTouch read_touch(const StrictValue& value, int lens_count, const LensTermNames& names) {
  const StrictMap map(value, {"terms"});
  const std::map<std::string, std::string> name_of = touch_terms(lens_count, names);
  std::vector<std::string> keys;
  for (const auto& [key, name] : name_of) keys.push_back(key);
  const StrictValue at = map.at("terms");
  const StrictMap terms(at, keys);
  ShotTouch touch;
  for (const YamlValue& entry : at.yaml().children) {
    const StrictValue item = terms.at(entry.key);
    const std::string& name = name_of.at(entry.key);
    const double number = item.number();
    touch.names.push_back(name);
    touch.step.push_back(is_angle(name) ? rad_from_deg(number) : number);
  }
  return touch;
}

ShotFile read_common(const StrictMap& map) {
  ShotFile shot;
  for (const StrictValue& item : map.at("frames").list())
    shot.frames.push_back(read_relative_path(item));
  shot.intake = read_intake(map, shot.frames.size());
  if (map.has("template")) shot.rig_template = read_reference(map.at("template"));
  if (map.has("manual_ties")) {
    for (const StrictValue& item : some_of(map.at("manual_ties"), kMostTiesOfShot, "ties")) {
      shot.manual_ties.push_back(read_tie(item, shot.intake.lens_count));
    }
  }
  return shot;
}

/// Of version 1.
std::vector<std::string> first_keys() {
  return {"format",        "version",  "frames",   "layout",     "lens_count",
          "quarter_turns", "mirrored", "template", "manual_ties"};
}

ShotFile read_version_1(const StrictValue& document) {
  return read_common(StrictMap(document, first_keys()));
}

void read_touch_of(const StrictMap& map, const LensTermNames& names, ShotFile& shot) {
  if (!map.has("touch")) return;
  const StrictValue touch = map.at("touch");
  if (!shot.rig_template || !shot.rig_template->sha256) {
    touch.refuse("a touch belongs to one very template, and this file does not say which",
                 "give 'template: {file: ..., sha256: ...}', or touch the shot again");
  }
  shot.touch = read_touch(touch, shot.intake.lens_count, names);
}

ShotFile read_version_2(const StrictValue& document) {
  std::vector<std::string> keys = first_keys();
  keys.emplace_back("touch");
  const StrictMap map(document, keys);
  ShotFile shot = read_common(map);
  read_touch_of(map, kFirstTermNames, shot);
  return shot;
}

void read_seam_of(const StrictMap& map, ShotFile& shot) {
  if (!map.has("seam")) return;
  const StrictValue seam = map.at("seam");
  std::size_t places = 0;
  for (const StrictValue& item : some_of(seam, kMostStrokesOfShot, "strokes")) {
    shot.seam.push_back(read_stroke(item, shot.intake.lens_count));
    places += shot.seam.back().path.size();
  }
  if (places > kMostPlacesOfShot) {
    seam.refuse(fmt::format("its strokes hold {} places", places),
                fmt::format("give {} at most, all strokes together", kMostPlacesOfShot));
  }
}

ShotFile read_version_3(const StrictValue& document) {
  std::vector<std::string> keys = first_keys();
  keys.emplace_back("touch");
  keys.emplace_back("seam");
  const StrictMap map(document, keys);
  ShotFile shot = read_common(map);
  read_touch_of(map, kFirstTermNames, shot);
  read_seam_of(map, shot);
  return shot;
}

/// Of version 4.
ShotFile read_up_to_brackets(const StrictMap& map, const LensTermNames& names) {
  ShotFile shot = read_common(map);
  read_touch_of(map, names, shot);
  read_seam_of(map, shot);
  if (map.has("brackets")) read_brackets(map.at("brackets"), shot);
  return shot;
}

ShotFile read_version_4(const StrictValue& document) {
  std::vector<std::string> keys = first_keys();
  for (const char* key : {"touch", "seam", "brackets"}) keys.emplace_back(key);
  return read_up_to_brackets(StrictMap(document, keys), kFirstTermNames);
}

/// All keys, with a touch by these names.
ShotFile read_whole(const StrictValue& document, const LensTermNames& names) {
  std::vector<std::string> keys = first_keys();
  for (const char* key : {"touch", "seam", "brackets", "verticals"}) keys.emplace_back(key);
  const StrictMap map(document, keys);
  ShotFile shot = read_up_to_brackets(map, names);
  if (map.has("verticals")) read_verticals(map.at("verticals"), shot);
  return shot;
}

ShotFile read_version_5(const StrictValue& document) {
  return read_whole(document, kFirstTermNames);
}

ShotFile read_version_6(const StrictValue& document) {
  return read_whole(document, kLensTermNames);
}

/// One reader a version, each giving today's ShotFile.
constexpr std::array kShotReaders = {
    VersionReader<ShotFile>{1, &read_version_1}, VersionReader<ShotFile>{2, &read_version_2},
    VersionReader<ShotFile>{3, &read_version_3}, VersionReader<ShotFile>{4, &read_version_4},
    VersionReader<ShotFile>{5, &read_version_5}, VersionReader<ShotFile>{6, &read_version_6}};

}  // namespace

Result<ShotFile> parse_shot_file(std::string_view yaml, const std::string& name) {
  return parse_versioned<ShotFile>(yaml, name, kShotFormat, kShotReaders);
}

Result<ShotFile> read_shot_file(const std::filesystem::path& path) {
  const Result<std::string> text = read_file(path, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_shot_file(*text, path.string());
}

}  // namespace seamwright
