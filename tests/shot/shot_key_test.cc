// The text that tells whether a panorama is up to date holds everything that decides its bytes.

#include "jobs/shot/shot_key.h"

#include <optional>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

#include "jobs/restitch/former_key.h"
#include "jobs/shot/fields.h"

using namespace seamwright;

namespace {

template <class T>
constexpr bool is_list = false;
template <class T>
constexpr bool is_list<std::vector<T>> = true;
template <class T, std::size_t N>
constexpr bool is_list<std::array<T, N>> = true;

template <class T>
constexpr bool is_optional = false;
template <class T>
constexpr bool is_optional<std::optional<T>> = true;

/// Walks over everything that can be changed by itself, and changes one of it.
class Changer {
 public:
  explicit Changer(int wanted) : wanted_(wanted) {}

  template <class T>
  void walk(const std::string& path, T& value) {
    if constexpr (HasFields<T>) {
      visit_fields(value, [&](const char* name, auto& member) { walk(path + "." + name, member); });
    } else if constexpr (is_optional<T>) {
      if (is_wanted(path)) {
        value = value ? T{} : T{std::in_place};
      } else if (value) {
        walk(path, *value);
      }
    } else if constexpr (is_list<T>) {
      for (std::size_t i = 0; i < value.size(); ++i) walk(path + "[]", value[i]);
      if constexpr (requires { value.emplace_back(); }) {
        if (is_wanted(path)) value.emplace_back();
      }
    } else if (is_wanted(path)) {
      change(value);
    }
  }

  [[nodiscard]] int count() const { return at_; }
  [[nodiscard]] const std::string& changed() const { return changed_; }

 private:
  bool is_wanted(const std::string& path) {
    if (at_++ != wanted_) return false;
    changed_ = path;
    return true;
  }

  template <class T>
  static void change(T& value) {
    if constexpr (std::is_same_v<T, bool>) {
      value = !value;
    } else if constexpr (std::is_enum_v<T>) {
      value = static_cast<T>(value == T{} ? 1 : 0);
    } else if constexpr (std::is_floating_point_v<T>) {
      value += 0.1;
    } else if constexpr (std::is_integral_v<T>) {
      value += 2;
    } else {
      value += "x";
    }
  }

  int wanted_;
  int at_ = 0;
  std::string changed_;
};

ShotWishes full_wishes() {
  ShotWishes wishes;
  wishes.merge.noise.emplace();
  wishes.level.edges.emplace_back();
  wishes.level.compass_deg = 12.5;
  wishes.look.by_run.emplace();
  wishes.cover = {.cover_deg = 18, .plate = "folder/plate.png", .plate_deg = 20};
  return wishes;
}

// Calls see(path, changed) for each single change of a value; gives their number.
template <class T, class See>
int each_change(const T& value, const See& see) {
  T counted = value;
  Changer counter(-1);
  counter.walk("", counted);
  for (int i = 0; i < counter.count(); ++i) {
    T copy = value;
    Changer changer(i);
    changer.walk("", copy);
    see(changer.changed(), copy);
  }
  return counter.count();
}

ShotFiles bracketed_files() {
  ShotFiles files;
  files.intake.quarter_turns = {1, 3};
  files.grouped.emplace();
  files.grouped->series.lenses = {
      {.lens = "front", .steps = {{.ev = -2, .members = {{.frame = 1, .exposure = 0.25}}}}}};
  return files;
}

}  // namespace

TEST_CASE("a change of any wish is a change of the key", "[shot]") {
  int changes = 0;
  for (const ShotWishes& wishes : {ShotWishes{}, full_wishes()}) {
    const std::string before = text_of(wishes);
    changes += each_change(wishes, [&](const std::string& path, const ShotWishes& changed) {
      CAPTURE(path);
      CHECK(text_of(changed) != before);
    });
  }
  CHECK(changes == 81);
}

TEST_CASE("a change of how frames lie or are grouped is a change of the key", "[shot]") {
  const ShotFiles files = bracketed_files();
  const std::string before = shot_key_text(files, {});
  int changes = each_change(files.intake, [&](const std::string& path, const FrameIntake& intake) {
    CAPTURE(path);
    ShotFiles changed = files;
    changed.intake = intake;
    CHECK(shot_key_text(changed, {}) != before);
  });
  changes += each_change(files.grouped->series.lenses,
                         [&](const std::string& path, const std::vector<BracketSeries>& lenses) {
                           CAPTURE(path);
                           ShotFiles changed = files;
                           changed.grouped->series.lenses = lenses;
                           CHECK(shot_key_text(changed, {}) != before);
                         });
  CHECK(changes == 13);
}

TEST_CASE("two changes that look alike are two keys", "[shot]") {
  ShotWishes a, b;
  a.cover.plate = "x\ntone.local=1";
  b.cover.plate = "x";
  b.tone.local = 1;
  CHECK(text_of(a) != text_of(b));
  // Where a plate lies says nothing of what it shows.
  b = a;
  b.cover.plate = "elsewhere/x\ntone.local=1";
  CHECK(text_of(a) == text_of(b));
}

// Panoramas of archives were made by these. One that changes makes every panorama anew or, worse,
// passes an old one off as new: a new behaviour is a new wish instead.
TEST_CASE("what is wished where nothing is said stays what it was", "[shot]") {
  ShotWishes wishes{.width_px = 0,
                    .kernel = ResampleKernel::catmull_rom,
                    .seam = SeamKind::depth,
                    .blend_half_width_deg = 1.5,
                    .gain_match = true,
                    .merge = {.clip_level = 0.99,
                              .noise = std::nullopt,
                              .unit_exposure = 0,
                              .align = true,
                              .refine_exposures = true,
                              .resolve_motion = true},
                    .tone = {.brighter_ev = 0, .local = 0},
                    .look = {.match = LookMatch::automatic,
                             .room_ev = 0.15,
                             .cast_ev = 0.05,
                             .warmer_ev = 0,
                             .by_run = std::nullopt},
                    .level = {.upright = Upright::as_marked,
                              .edges = {},
                              .middle_deg = 0,
                              .compass_deg = std::nullopt},
                    .cover = {.cover_deg = 0, .plate = {}, .plate_deg = 0},
                    .compression = TiffCompression::none,
                    .jpeg_quality = 92,
                    .jpeg_width_px = 0,
                    .keep_location = true};
  CHECK(text_of(wishes).empty());
  wishes.width_px = 8192;
  wishes.seam = SeamKind::plain;
  wishes.level.upright = Upright::find;
  CHECK(text_of(wishes) == "level.upright=find\nseam=plain\nwidth_px=8192\n");
}

TEST_CASE("what older programs wrote of a panorama is known, and of no other", "[shot]") {
  GroupingOptions grouping;
  const auto former = [&](const ShotWishes& wishes, bool jpeg = false) {
    return former_key_texts({}, wishes, grouping, jpeg);
  };
  // As those programs' journals hold it.
  REQUIRE(former({}).size() == 1);
  CHECK_THAT(former({})[0],
             Catch::StartsWith("seamwright ") &&
                 Catch::EndsWith(" width=native seam=depth compression=none kernel=catmull-rom "
                                 "jpeg=false quality=92 jpeg_width=0 level=false cover=0 "
                                 "strip_location=false pattern= gap_s=3 frames_per_shot=0 "
                                 "allow_missing=false"));
  ShotWishes wishes{.width_px = 8192, .compression = TiffCompression::lzw, .keep_location = false};
  wishes.level.upright = Upright::leave;
  grouping.pattern = *FramePattern::parse("(?<shot>.+)_(?<lens>front|back)\\.tif");
  grouping.rest_s = 2.5;
  REQUIRE(former(wishes, true).size() == 1);
  CHECK_THAT(former(wishes, true)[0],
             Catch::EndsWith(" width=8192 seam=depth compression=lzw kernel=catmull-rom jpeg=true "
                             "quality=92 jpeg_width=0 level=false cover=0 strip_location=true "
                             "pattern=(?<shot>.+)_(?<lens>front|back)\\.tif gap_s=2.5 "
                             "frames_per_shot=0 allow_missing=false no_level=true"));
  // They showed brackets as is done without a look now, and only then.
  CHECK(former_key_texts(bracketed_files(), {}, grouping, false).empty());
  const ShotWishes plain{.look = {.match = LookMatch::off}};
  CHECK_THAT(former_key_texts(bracketed_files(), plain, grouping, false)[0],
             Catch::EndsWith(" display_curve=2"));
  int unknown = 0;
  const int changes =
      each_change(ShotWishes{}, [&](const std::string& path, const ShotWishes& changed) {
        CAPTURE(path);
        const auto texts = former(changed);
        unknown += texts.empty() ? 1 : 0;
        // Off or not: single frames have no look where nobody asks for one.
        CHECK((texts != former({})) == (path != ".look.match"));
      });
  CHECK(unknown == changes - 8);
}

TEST_CASE("the key holds what the look decided for a shot, and nothing that decided nothing",
          "[shot]") {
  const auto key = [](const ShotFiles& files, const LookWish& look) {
    return shot_key_text(files, {.look = look});
  };
  const ShotFiles single, bracketed = bracketed_files();
  // As before there was a look, for single frames; for brackets only without one.
  CHECK(key(single, {}) == key(single, {.match = LookMatch::off}));
  CHECK(key(single, {}).find("look") == std::string::npos);
  CHECK(key(single, {}) != key(single, {.match = LookMatch::shot}));
  CHECK_THAT(key(bracketed, {.match = LookMatch::off}), Catch::Contains("display_curve=2\n"));
  CHECK_THAT(key(bracketed, {}), Catch::Contains("display_curve=3\n"));
  CHECK(key(bracketed, {}) == key(bracketed, {.match = LookMatch::shot}));
  CHECK(key(bracketed, {}) == key(bracketed, {.match = LookMatch::shot, .room_ev = 1}));
  CHECK(key(bracketed, {}) != key(bracketed, {.match = LookMatch::shot, .warmer_ev = 0.1}));
  for (const ShotFiles& files : {single, bracketed}) {
    const LookWish decided{.match = LookMatch::run, .by_run = DisplayLook{.gain_ev = 0.5}};
    LookWish other = decided;
    other.by_run->gain_ev = 0.50390625;
    CHECK(key(files, decided) != key(files, other));
    CHECK(key(files, decided) != key(files, {.match = LookMatch::shot}));
    // Limits that lead to the same decision are no change.
    LookWish wider = decided;
    wider.room_ev = 1;
    wider.cast_ev = 0.2;
    wider.warmer_ev = 0.1;
    CHECK(key(files, decided) == key(files, wider));
  }
}
