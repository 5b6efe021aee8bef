#pragma once

// Charts: lines over an axis with an optional band of uncertainty, and bars.

#include <string>
#include <utility>
#include <vector>

namespace seamwright::report {

struct Axis {
  std::string label;
  double low = 0;
  double high = 1;
  double tick = 0;  ///< 0: chosen
};

/// One line. Series 0…3 have their own colour and dash, so that prints in grey tell them apart.
struct Series {
  std::string name;
  int look = 0;
  std::vector<std::pair<double, double>> points;
  std::vector<double> sigma{};  ///< half width of a band around the points; may be empty
};

[[nodiscard]] std::string line_chart(const std::string& told, const Axis& x, const Axis& y,
                                     const std::vector<Series>& series);

struct Bar {
  std::string label;
  double value = 0;
};
[[nodiscard]] std::string bar_chart(const std::string& told, const std::string& x_label,
                                    const std::string& y_label, const std::vector<Bar>& bars);

/// A round step (1, 2 or 5 times a power of ten) that cuts `range` into at most `most` parts.
[[nodiscard]] double round_step(double range, int most);

}  // namespace seamwright::report
