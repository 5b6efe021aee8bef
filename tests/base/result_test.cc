#include "base/result.h"

#include <catch2/catch.hpp>

#include "base/progress.h"

namespace seamwright {

TEST_CASE("an error reads where, field, what and remedy on one line", "[result]") {
  const Error error{.kind = ErrorKind::user_input,
                    .where = "lantern.template.yaml:12",
                    .field = "lenses[1].focal_px",
                    .what = "-3 is not above 0",
                    .remedy = "give pixels per radian"};
  CHECK(error.line() ==
        "lantern.template.yaml:12: lenses[1].focal_px: -3 is not above 0; give pixels per radian");
}

TEST_CASE("empty parts of an error leave no punctuation behind", "[result]") {
  CHECK(Error{.what = "broken"}.line() == "broken");
  CHECK(Error{.where = "a.tif", .what = "broken"}.line() == "a.tif: broken");
  CHECK(Error{.field = "--width", .what = "is 0"}.line() == "--width: is 0");
  CHECK(Error{.what = "broken", .remedy = "mend it"}.line() == "broken; mend it");
}

TEST_CASE("line breaks from outside never break the line", "[result]") {
  const Error error{.where = "a\nb.tif", .what = "first\r\nsecond", .remedy = "third\n"};
  CHECK(error.line() == "a b.tif: first  second; third ");
}

TEST_CASE("fail carries the error through a Result", "[result]") {
  const auto always_fails = []() -> Result<int> {
    return fail({.kind = ErrorKind::numeric, .what = "no"});
  };
  const Result<int> result = always_fails();
  REQUIRE_FALSE(result);
  CHECK(result.error().kind == ErrorKind::numeric);
  CHECK(result.error().line() == "no");
}

TEST_CASE("progress goes on when nobody listens and stops when told", "[progress]") {
  CHECK(tell({}, "matching", 0.5));
  double heard = 0;
  const ProgressFn until_half = [&](const Progress& progress) {
    heard = progress.fraction;
    CHECK(progress.stage == "matching");
    return progress.fraction < 0.5;
  };
  CHECK(tell(until_half, "matching", 0.25));
  CHECK(heard == 0.25);
  CHECK_FALSE(tell(until_half, "matching", 0.75));
}

}  // namespace seamwright
