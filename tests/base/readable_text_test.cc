#include "base/readable_text.h"

#include <algorithm>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

using namespace seamwright;
using test::seed;

TEST_CASE("text that is fine stays as it is, backslashes included") {
  for (const std::string text :
       {"room_1.tif", "Küche ☕ 𝄞.tif", "a\\b", "\\d+[.]tif", "100 %", ""}) {
    CHECK(readable_text(text) == text);
    CHECK(printable_text(text) == text);
    CHECK(bytes_of_readable(text) == text);
  }
}

TEST_CASE("what no terminal, JSON or XML should get is spelt out") {
  CHECK(readable_text("caf\xE9.tif") == "caf\\xE9.tif");
  CHECK(readable_text("\x1b[2J\x07\x7f") == "\\x1B[2J\\x07\\x7F");
  CHECK(readable_text("\xC2\x9b"
                      "2J") == "\\xC2\\x9B2J");  // C1's control sequence introducer
  CHECK(readable_text("a\xE2\x80\xAE"
                      "fit.b") == "a\\xE2\\x80\\xAEfit.b");   // right to left from here
  CHECK(readable_text("\xED\xA0\x80") == "\\xED\\xA0\\x80");  // a surrogate
  CHECK(readable_text("\xC0\xAF\xF5") == "\\xC0\\xAF\\xF5");  // overlong; beyond Unicode
  CHECK(readable_text("\xEF\xBF\xBF") == "\\xEF\\xBF\\xBF");  // no character of XML 1.0
  CHECK(readable_text("one\ntwo") == "one\\x0Atwo");
  CHECK(printable_text("one\n\ttwo\r") == "one\n\\x09two\\x0D");
  CHECK(readable_text("\\x41") == "\\x5Cx41");
  CHECK(printable_text("\\x41") == "\\x41");
}

TEST_CASE("whatever the bytes, they come back") {
  CAPTURE(seed());
  test::Random random(81);
  int cases = 0;
  for (int i = 0; i < 3000; ++i, ++cases) {
    std::string bytes = random.bytes(random.integer(0, 12));
    // Often what looks like an escape already.
    if (random.chance(0.5)) bytes += "\\x4" + random.bytes(1) + "\\x5C\\xE9";
    const std::string text = readable_text(bytes);
    CAPTURE(text);
    REQUIRE(bytes_of_readable(text) == bytes);
    REQUIRE(printable_text(text) == text);  // nothing is left to spell out
    REQUIRE(std::none_of(text.begin(), text.end(), [](unsigned char c) { return c < ' '; }));
  }
  CHECK(cases == 3000);
}
