#include "compose/finish/glow.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "base/parallel.h"
#include "compose/finish/glow_edge.h"
#include "compose/finish/wrapped_panorama.h"
#include "imaging/quantise.h"
#include "imaging/transfer.h"

namespace seamwright {

namespace {

constexpr int kGlowBandRows = 64;
// Nearer to the poles rows are read as if they were stretched no more.
constexpr double kMostStretched = 6;

struct Band {
  int top = 0;
  int rows = 0;
  int margin_rows = 0;     // around them, also beyond the poles, where the outmost row goes on
  int margin_columns = 0;  // around the wrap
  cv::Mat3f light = {};
};

struct Unglowed {
  int x = 0;
  cv::Vec3f light = {};
  float taken = 0;  // share of the light of red and blue
};
using UnglowedRow = std::vector<Unglowed>;

double stretch_of_row(int y, int height) {
  return std::min(1 / std::cos(((y + 0.5) / height - 0.5) * kPi), kMostStretched);
}

template <class T>
void decode_band(const Image& panorama, const TransferCurve& curve, Band& band) {
  const auto channels = static_cast<std::size_t>(panorama.channel_count());
  const int width = panorama.width();
  std::vector<float> row(static_cast<std::size_t>(width) * channels);
  for (int y = 0; y < band.light.rows; ++y) {
    const int from = std::clamp(band.top - band.margin_rows + y, 0, panorama.height() - 1);
    curve.decode_row<T>(panorama.row<T>(from), panorama.channels(), row);
    for (int x = 0; x < band.light.cols; ++x) {
      const int column = (x - band.margin_columns % width + width) % width;
      const float* px = &row[static_cast<std::size_t>(column) * channels];
      band.light(y, x) = {px[0], px[1], px[2]};
    }
  }
}

Band band_at(const Image& panorama, const TransferCurve& curve, int top, double reach_px) {
  Band band{.top = top, .rows = std::min(kGlowBandRows, panorama.height() - top)};
  const double stretch = std::max(stretch_of_row(top, panorama.height()),
                                  stretch_of_row(top + band.rows - 1, panorama.height()));
  band.margin_rows = glow_margin(reach_px);
  band.margin_columns = static_cast<int>(std::ceil(band.margin_rows * stretch));
  band.light.create(band.rows + 2 * band.margin_rows, panorama.width() + 2 * band.margin_columns);
  switch (panorama.type()) {
    case SampleType::u8:
      decode_band<std::uint8_t>(panorama, curve, band);
      break;
    case SampleType::u16:
      decode_band<std::uint16_t>(panorama, curve, band);
      break;
    case SampleType::f32:
      decode_band<float>(panorama, curve, band);
      break;
  }
  return band;
}

// The least and the most green within reach of each pixel.
std::array<cv::Mat1f, 2> green_around(const Band& band, int height, double reach_px) {
  cv::Mat1f green;
  cv::extractChannel(band.light, green, 1);
  const double stretch = stretch_of_row(band.top + band.rows / 2, height);
  const int reach = static_cast<int>(std::ceil(reach_px));
  const cv::Size size(2 * static_cast<int>(std::ceil(reach * stretch)) + 1, 2 * reach + 1);
  const cv::Mat window = cv::Mat::ones(size, CV_8U);
  std::array<cv::Mat1f, 2> around;
  cv::erode(green, around[0], window, {-1, -1}, 1, cv::BORDER_REPLICATE);
  cv::dilate(green, around[1], window, {-1, -1}, 1, cv::BORDER_REPLICATE);
  return around;
}

float taken_of(const cv::Vec3f& before, const cv::Vec3f& after) {
  const float all = std::max(before[0], 0.0F) + std::max(before[2], 0.0F);
  return all > 0 ? (before[0] - after[0] + before[2] - after[2]) / all : 0;
}

void look_at_band(const Band& band, int height, const GlowSearch& search,
                  std::vector<UnglowedRow>& found) {
  const auto [least, most] = green_around(band, height, search.reach_px);
  for (int row = 0; row < band.rows; ++row) {
    const int y = row + band.margin_rows;
    const double stretch = stretch_of_row(band.top + row, height);
    for (int x = band.margin_columns; x < band.light.cols - band.margin_columns; ++x) {
      const cv::Vec3f& here = band.light(y, x);
      if (!may_glow(here, least(y, x), most(y, x))) continue;
      const auto without = without_glow(band.light, {x, y}, stretch, search);
      if (!without) continue;
      found[static_cast<std::size_t>(band.top + row)].push_back(
          {x - band.margin_columns, *without, taken_of(here, *without)});
    }
  }
}

template <class T>
void put_unglowed(Image& panorama, const TransferCurve& curve, int y, const UnglowedRow& row) {
  const auto channels = static_cast<std::size_t>(panorama.channel_count());
  const auto codes = panorama.row<T>(y);
  for (const Unglowed& px : row) {
    T* code = &codes[static_cast<std::size_t>(px.x) * channels];
    for (const int c : {0, 2}) {
      code[c] = sample_from_unit<T>(curve.from_linear(px.light[c], c));
    }
  }
}

GlowRemoval put_all(Image& panorama, const TransferCurve& curve,
                    const std::vector<UnglowedRow>& found) {
  GlowRemoval removal;
  removal.mask = Image(panorama.width(), panorama.height(), Channels::grey, SampleType::u8);
  for (int y = 0; y < panorama.height(); ++y) {
    const UnglowedRow& row = found[static_cast<std::size_t>(y)];
    removal.changed_px += static_cast<std::int64_t>(row.size());
    const auto mask = removal.mask.row<std::uint8_t>(y);
    for (const Unglowed& px : row) {
      mask[static_cast<std::size_t>(px.x)] = sample_from_unit<std::uint8_t>(px.taken);
    }
    switch (panorama.type()) {
      case SampleType::u8:
        put_unglowed<std::uint8_t>(panorama, curve, y, row);
        break;
      case SampleType::u16:
        put_unglowed<std::uint16_t>(panorama, curve, y, row);
        break;
      case SampleType::f32:
        put_unglowed<float>(panorama, curve, y, row);
        break;
    }
  }
  return removal;
}

}  // namespace

std::optional<Error> check_glow_removal(double strength) {
  if (strength >= 0 && strength <= 1) return std::nullopt;
  return Error{.where = {},
               .field = "glow_removal",
               .what = fmt::format("{} is outside 0…1", strength),
               .remedy = "give 1 to take it all, 0 to leave it"};
}

Result<GlowRemoval> remove_glow(Image& panorama, double strength) {
  if (auto error = check_glow_removal(strength)) return fail(std::move(*error));
  if (auto error = check_whole_sphere(panorama)) return fail(std::move(*error));
  const auto curve = TransferCurve::of(panorama);
  if (!curve) return tl::unexpected(curve.error());
  const int height = panorama.height();
  std::vector<UnglowedRow> found(static_cast<std::size_t>(height));
  if (strength > 0 && panorama.channel_count() >= 3) {
    const GlowSearch search{
        .reach_px = std::max(kGlowReach_deg / 360 * panorama.width(), kGlowReachAtLeast_px),
        .clips = panorama.type() != SampleType::f32,
        .strength = strength};
    parallel_for(0, (height + kGlowBandRows - 1) / kGlowBandRows, [&](int i) {
      look_at_band(band_at(panorama, *curve, i * kGlowBandRows, search.reach_px), height, search,
                   found);
    });
  }
  return put_all(panorama, *curve, found);
}

}  // namespace seamwright
