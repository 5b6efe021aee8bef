// Broken files never crash, never hang, and never give more than one line.

#include <catch2/catch.hpp>

#include "templates/rig_template.h"
#include "templates/shot_file.h"
#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

/// Pieces that mean something to YAML or to numbers.
constexpr std::string_view kPieces[] = {":",
                                        ": ",
                                        "- ",
                                        "\n",
                                        "\n\n",
                                        "  ",
                                        "\t",
                                        "[",
                                        "]",
                                        "{",
                                        "}",
                                        ",",
                                        "#",
                                        "&a ",
                                        "*a",
                                        "!!x",
                                        "|\n",
                                        ">\n",
                                        "'",
                                        "\"",
                                        "\\",
                                        "%YAML 9\n",
                                        "---\n",
                                        "...\n",
                                        "? ",
                                        "@",
                                        "`",
                                        "nan",
                                        ".inf",
                                        "-",
                                        "1e999",
                                        "0x1",
                                        "-0",
                                        "null",
                                        "~",
                                        "true",
                                        "\xff",
                                        "\xc3",
                                        "\r",
                                        "\xef\xbb\xbf",
                                        "<<: ",
                                        "lenses:\n",
                                        "radial_1: 1\n",
                                        "\xe2\x80\xa8"};

std::string mutated(Random& random, std::string text) {
  const int edits = random.integer(1, 6);
  for (int i = 0; i < edits && !text.empty(); ++i) {
    const auto at = static_cast<std::size_t>(random.integer(0, static_cast<int>(text.size()) - 1));
    const auto length = static_cast<std::size_t>(random.integer(0, 40));
    switch (random.integer(0, 5)) {
      case 0:
        text[at] = static_cast<char>(random.integer(0, 255));
        break;
      case 1:
        text.erase(at, length);
        break;
      case 2:
        text.insert(at, kPieces[random.bits() % std::size(kPieces)]);
        break;
      case 3:
        text.insert(at, text.substr(static_cast<std::size_t>(random.bits()) % text.size(), length));
        break;
      case 4:
        text.resize(at);
        break;
      default:
        text.replace(at, 1, kPieces[random.bits() % std::size(kPieces)]);
        break;
    }
  }
  return text;
}

void check_message(const Error& error) {
  const std::string message = error.line();
  CHECK(message.find_first_of("\n\r") == std::string::npos);
  CHECK(message.rfind("fuzz.yaml:", 0) == 0);
  CHECK(message.size() < 1500);
}

}  // namespace

TEST_CASE("mutated templates are refused or valid", "[templates]") {
  CAPTURE(seed());
  Random random(40);
  const std::string text = format_template(random_template(random));
  int refused = 0;
  int accepted = 0;
  for (int k = 0; k < 3000; ++k) {
    const std::string broken = mutated(random, text);
    CAPTURE(k, broken);
    const auto result = parse_template(broken, "fuzz.yaml");
    if (result) {
      ++accepted;
      CHECK_FALSE(result->rig().validate());
      CHECK(parse_template(format_template(*result), "again.yaml"));
    } else {
      ++refused;
      check_message(result.error());
    }
  }
  CHECK(refused > 1000);
  CHECK(accepted > 10);  // edits within comments and digits
}

TEST_CASE("mutated shot files are refused or valid", "[templates]") {
  CAPTURE(seed());
  Random random(41);
  ShotFile shot;
  shot.frames = {"a/front.tif", "a/back.tif"};
  shot.rig_template = TemplateReference{.file = "t.yaml", .sha256 = std::string(64, '7')};
  shot.manual_ties = {
      {.range = TieRange::near, .sigma_px = 0.4, .sights = {{0, Vec2(1, 2)}, {1, Vec2(3, 4)}}}};
  shot.touch = ShotTouch{.names = {"lens0.focal_px", "lens1.rotation_x_rad"}, .step = {0.1, 0.01}};
  shot.verticals = {{{{{-0.5, 0.3}, {-0.51, -0.4}}}}, {{{{1.0, 0.6}, {1.02, -0.1}}}}};
  const std::string text = format_shot_file(shot);
  int refused = 0;
  for (int k = 0; k < 3000; ++k) {
    const std::string broken = mutated(random, text);
    CAPTURE(k, broken);
    const auto result = parse_shot_file(broken, "fuzz.yaml");
    if (!result) {
      ++refused;
      check_message(result.error());
      continue;
    }
    for (const UprightEdge& edge : result->verticals) CHECK_FALSE(edge.validate());
  }
  CHECK(refused > 1000);
}

TEST_CASE("random bytes are refused", "[templates]") {
  CAPTURE(seed());
  Random random(42);
  for (int k = 0; k < 2000; ++k) {
    std::string bytes;
    for (int n = random.integer(0, 200); n > 0; --n) {
      bytes += random.integer(0, 2) == 0
                   ? std::string(kPieces[random.bits() % std::size(kPieces)])
                   : std::string(1, static_cast<char>(random.integer(0, 255)));
    }
    CAPTURE(k, bytes);
    const auto result = parse_template(bytes, "fuzz.yaml");
    REQUIRE_FALSE(result);
    check_message(result.error());
  }
}
