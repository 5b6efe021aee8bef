#include "imaging/sample_check.h"

#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "base/parallel.h"

namespace seamwright {
namespace {

struct RowCount {
  std::size_t not_finite = 0;
  std::size_t too_large = 0;
  std::size_t first = 0;  // index of the first such sample

  [[nodiscard]] bool sound() const { return not_finite + too_large == 0; }
};

RowCount counted(std::span<const float> row) {
  RowCount count;
  for (std::size_t i = 0; i < row.size(); ++i) {
    if (std::abs(row[i]) <= kMostSample) continue;
    if (count.sound()) count.first = i;
    ++(std::isfinite(row[i]) ? count.too_large : count.not_finite);
  }
  return count;
}

std::string words(const RowCount& total) {
  const auto samples = [](std::size_t n) { return n == 1 ? "sample" : "samples"; };
  std::string text = "holds ";
  if (total.not_finite > 0) {
    text +=
        fmt::format("{} {} without a finite value", total.not_finite, samples(total.not_finite));
  }
  if (total.too_large > 0) {
    text +=
        fmt::format("{}{} {} beyond {:.0f} times white", total.not_finite > 0 ? " and " : "",
                    total.too_large, samples(total.too_large), static_cast<double>(kMostSample));
  }
  return text;
}

}  // namespace

Result<void> check_samples(const std::filesystem::path& path, const Image& image) {
  if (image.type() != SampleType::f32) return {};
  std::vector<RowCount> rows(static_cast<std::size_t>(image.height()));
  parallel_for(0, image.height(),
               [&](int y) { rows[static_cast<std::size_t>(y)] = counted(image.row<float>(y)); });
  RowCount total;
  std::size_t first_row = 0;
  for (std::size_t y = 0; y < rows.size(); ++y) {
    if (rows[y].sound()) continue;
    if (total.sound()) {
      first_row = y;
      total.first = rows[y].first;
    }
    total.not_finite += rows[y].not_finite;
    total.too_large += rows[y].too_large;
  }
  if (total.sound()) return {};
  return fail({.kind = ErrorKind::user_input,
               .where = path.string(),
               .field = {},
               .what = fmt::format("{}, the first at column {}, row {}", words(total),
                                   total.first / static_cast<std::size_t>(image.channel_count()),
                                   first_row),
               .remedy = "repair these pixels in an editor, or export the file again"});
}

}  // namespace seamwright
