// The 34 pairs of table 1 in Sharma, Wu & Dalal 2005, Color Res. Appl. 30:21–30.

#include "imaging/delta_e2000.h"

#include <fstream>
#include <sstream>
#include <string>

#include "tests/support/shared_data.h"

namespace seamwright {

TEST_CASE("CIEDE2000 gives the published differences, both ways round") {
  const auto file = test::shared_data("ciede2000_sharma34.csv");
  if (!file) return;
  std::ifstream lines(*file);
  int checked = 0;
  for (std::string line; std::getline(lines, line);) {
    if (line.empty() || line[0] == '#' || line[0] == 'L') continue;
    std::istringstream fields(line);
    double value[7];
    char comma = ',';
    for (double& field : value) fields >> field >> comma;
    const Lab first{value[0], value[1], value[2]};
    const Lab second{value[3], value[4], value[5]};
    CAPTURE(line);
    CHECK(delta_e2000(first, second) == Approx(value[6]).margin(1e-4));
    CHECK(delta_e2000(second, first) == Approx(value[6]).margin(1e-4));
    ++checked;
  }
  CHECK(checked == 34);
}

TEST_CASE("CIEDE2000 of pairs known without a file") {
  // Rows 1, 9 and 25 of the same table.
  CHECK(delta_e2000({50, 2.6772, -79.7751}, {50, 0, -82.7485}) == Approx(2.0425).margin(1e-4));
  CHECK(delta_e2000({50, 2.49, -0.001}, {50, -2.49, 0.0009}) == Approx(7.1792).margin(1e-4));
  CHECK(delta_e2000({60.2574, -34.0099, 36.2677}, {60.4626, -34.1751, 39.4387}) ==
        Approx(1.2644).margin(1e-4));
}

TEST_CASE("Lab of linear light") {
  const Lab white = lab_from_linear_srgb({1, 1, 1});
  CHECK(white.l == Approx(100));
  CHECK(white.a == Approx(0).margin(1e-9));
  CHECK(white.b == Approx(0).margin(1e-9));
  // Grey of 18.42 % has L* = 50 by definition: ((50 + 16) / 116)³.
  const double grey = 66.0 * 66 * 66 / (116.0 * 116 * 116);
  CHECK(lab_from_linear_srgb({grey, grey, grey}).l == Approx(50));
  // sRGB red under D65, from memory: 53.24, 80.09, 67.20; the standard's matrix has four digits.
  const Lab red = lab_from_linear_srgb({1, 0, 0});
  CHECK(red.l == Approx(53.24).margin(0.01));
  CHECK(red.a == Approx(80.09).margin(0.03));
  CHECK(red.b == Approx(67.20).margin(0.03));
}

}  // namespace seamwright
