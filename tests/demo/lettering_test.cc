#include "apps/demo/caster/lettering.h"

#include <string>

#include <catch2/catch.hpp>

using namespace seamwright::demo;

namespace {

/// The letters drawn with characters, as a picture a person can read in a failure.
std::string drawn(std::string_view text, int width) {
  std::string out;
  for (int row = 0; row < 7; ++row) {
    for (int column = 0; column < width; ++column) {
      out += text_ink(text, static_cast<float>(column), static_cast<float>(row), 0.4F, 0.01F) > 0.5F
                 ? '#'
                 : '.';
    }
    out += '\n';
  }
  return out;
}

}  // namespace

TEST_CASE("letters have their shapes") {
  CHECK(drawn("H", 5) ==
        "#...#\n"
        "#...#\n"
        "#...#\n"
        "#####\n"
        "#...#\n"
        "#...#\n"
        "#...#\n");
  CHECK(drawn("F", 5) ==
        "#####\n"
        "#....\n"
        "#....\n"
        "####.\n"
        "#....\n"
        "#....\n"
        "#....\n");
  CHECK(drawn("L", 5) ==
        "#....\n"
        "#....\n"
        "#....\n"
        "#....\n"
        "#....\n"
        "#....\n"
        "#####\n");
}

TEST_CASE("every capital and digit draws something of its own") {
  const std::string letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.,:/+";
  for (std::size_t i = 0; i < letters.size(); ++i) {
    CAPTURE(letters[i]);
    CHECK(drawn({&letters[i], 1}, 5).find('#') != std::string::npos);
    for (std::size_t k = 0; k < i; ++k) {
      CAPTURE(letters[k]);
      CHECK(drawn({&letters[i], 1}, 5) != drawn({&letters[k], 1}, 5));
    }
  }
  CHECK(drawn(" ", 5).find('#') == std::string::npos);
}

TEST_CASE("text runs to the right and lines downwards") {
  // The dot of "L." is to the right of the L.
  CHECK(text_ink("L.", kGlyphAdvance + 2, 5.5F, 0.4F, 0.01F) > 0.9F);
  const auto ink = [](float u, float v) { return label_ink("I\n-", u, v, 1.0F, 1.0F, 0.001F); };
  CHECK(ink(0.5F, 0.25F) > 0.9F);
  CHECK(ink(0.5F, 0.75F) > 0.9F);
  CHECK(ink(0.5F, 0.62F) < 0.1F);
  CHECK(ink(0.5F, 1.2F) == 0);
}
