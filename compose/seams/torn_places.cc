#include "compose/seams/torn_places.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <utility>

#include "base/parallel.h"

namespace seamwright {

namespace {

constexpr float kDarkest = 0.01F;  // light added before the logarithm: noise of shadows fades

// Log light of a view, interpolated along η.
class LogView {
 public:
  explicit LogView(const Image& light)
      : channels_(light.channel_count()),
        log_(light.width(), light.height(), light.channels(), SampleType::f32) {
    parallel_for(0, light.height(), [&](int y) {
      const auto from = light.row<float>(y);
      const auto to = log_.row<float>(y);
      for (std::size_t i = 0; i < from.size(); ++i)
        to[i] = std::log(std::clamp(from[i], 0.0F, 1.0F) + kDarkest);
    });
  }

  [[nodiscard]] int width() const { return log_.width(); }
  [[nodiscard]] int height() const { return log_.height(); }

  using Colour = std::array<float, 3>;

  // At a column and a continuous row of pixel centres.
  [[nodiscard]] Colour at(int x, float row) const {
    const float held = std::clamp(row, 0.0F, static_cast<float>(height() - 1));
    const int above = std::min(static_cast<int>(held), height() - 2);
    const float part = held - static_cast<float>(above);
    const auto count = static_cast<std::size_t>(channels_);
    const float* upper = log_.row<float>(above).data() + static_cast<std::size_t>(x) * count;
    const float* lower = log_.row<float>(above + 1).data() + static_cast<std::size_t>(x) * count;
    Colour colour{};
    for (std::size_t c = 0; c < count; ++c) colour[c] = upper[c] + part * (lower[c] - upper[c]);
    return colour;
  }

 private:
  int channels_;
  Image log_;
};

float step_between(const LogView::Colour& one, const LogView::Colour& other) {
  float most = 0;
  for (std::size_t c = 0; c < one.size(); ++c) most = std::max(most, std::abs(one[c] - other[c]));
  return most;
}

// Where a pixel of the panorama comes from.
struct Source {
  bool of_a = true;
  float row = 0;  // of the lens' own view, of pixel centres
};

class TearFinder {
 public:
  TearFinder(const JoinedViews& views, const TornOptions& options)
      : views_(views),
        options_(options),
        a_(views.unwarped.light_a),
        b_(views.unwarped.light_b),
        px_per_rad_(static_cast<float>(views.warp.grid.px_per_rad)) {}

  [[nodiscard]] Source source(int x, int y) const {
    const auto i = static_cast<std::size_t>(x);
    const std::uint8_t seen = views_.warp.seen_by.row<std::uint8_t>(y)[i];
    const bool above = static_cast<float>(y) + 0.5F < views_.path.row_px[i];
    const bool of_a = seen == kSeenByA || (above && seen != kSeenByB);
    const Image& shift = of_a ? views_.warp.shift_a_rad : views_.warp.shift_b_rad;
    return {of_a, static_cast<float>(y) + shift.row<float>(y)[i] * px_per_rad_};
  }

  // Between a pixel and the one `dx` and `dy` further.
  [[nodiscard]] float torn(int x, int y, const Source& here, int dx, int dy) const {
    const int width = a_.width();
    const int next_x = (x + dx) % width;
    const Source next = source(next_x, y + dy);
    const float ahead = static_cast<float>(dy);
    const bool together = here.of_a == next.of_a && std::abs(next.row - here.row - ahead) <
                                                        static_cast<float>(options_.apart_px);
    if (together) return 0;
    const LogView::Colour colour = of(here).at(x, here.row);
    const LogView::Colour beside = of(next).at(next_x, next.row);
    const float made = step_between(colour, beside) - static_cast<float>(options_.allowance);
    if (made <= 0) return 0;
    return std::max(0.0F, made - std::max(edge(of(here), here.row, colour, next_x, ahead),
                                          edge(of(next), next.row, beside, x, -ahead)));
  }

 private:
  [[nodiscard]] const LogView& of(const Source& source) const { return source.of_a ? a_ : b_; }

  // The strongest step in a lens' own view from a place to about its neighbour.
  static float edge(const LogView& view, float row, const LogView::Colour& colour, int next_x,
                    float ahead) {
    float most = 0;
    for (const float off : {-0.5F, 0.0F, 0.5F}) {
      most = std::max(most, step_between(colour, view.at(next_x, row + ahead + off)));
    }
    return most;
  }

  const JoinedViews& views_;
  const TornOptions& options_;
  LogView a_;
  LogView b_;
  float px_per_rad_;
};

// Both lenses look at a pixel, as far as that matters for its neighbours.
bool both_look(const SeamViews& views, int x, int y) {
  return state_at(views.state_a, x, y) != ViewState::outside &&
         state_at(views.state_b, x, y) != ViewState::outside;
}

}  // namespace

Image torn_edges(const JoinedViews& views, const TornOptions& options) {
  const int width = views.unwarped.light_a.width();
  const int height = views.unwarped.light_a.height();
  assert(views.warp.grid.width_px == width && views.warp.grid.height_px == height);
  assert(static_cast<int>(views.path.row_px.size()) == width);
  Image edges(width, height, Channels::grey, SampleType::f32);
  if (height < 2) return edges;
  const TearFinder finder(views, options);
  const bool closed = views.unwarped.closed;
  parallel_for(0, height, [&](int y) {
    const auto to = edges.row<float>(y);
    for (int x = 0; x < width; ++x) {
      if (!both_look(views.unwarped, x, y)) continue;
      const Source here = finder.source(x, y);
      float torn = 0;
      if (x + 1 < width || closed) torn += finder.torn(x, y, here, 1, 0);
      if (y + 1 < height) torn += finder.torn(x, y, here, 0, 1);
      to[static_cast<std::size_t>(x)] = torn;
    }
  });
  return edges;
}

std::vector<TornPlace> torn_places(const Image& edges, bool closed, const TornOptions& options) {
  const int width = edges.width();
  const int height = edges.height();
  std::vector<char> open(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), 0);
  const auto index = [&](int x, int y) {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
           static_cast<std::size_t>((x % width + width) % width);
  };
  for (int y = 0; y < height; ++y) {
    const auto row = edges.row<float>(y);
    for (int x = 0; x < width; ++x) open[index(x, y)] = row[static_cast<std::size_t>(x)] > 0;
  }
  std::vector<TornPlace> places;
  const auto inside = [&](int x) { return closed || (x >= 0 && x < width); };
  const auto grown = [&](int left, int top) {
    TornPlace place{.left = left, .right = left + 1, .top = top, .bottom = top + 1};
    Vec2 sum = Vec2::Zero();
    std::vector<std::pair<int, int>> pixels{{left, top}};  // unwrapped
    open[index(left, top)] = 0;
    for (std::size_t i = 0; i < pixels.size(); ++i) {
      const auto [x, y] = pixels[i];
      const double torn = static_cast<double>(edges.row<float>(y)[index(x, 0)]);
      place.torn += torn;
      sum += torn * Vec2(x + 0.5, y + 0.5);
      place.left = std::min(place.left, x);
      place.right = std::max(place.right, x + 1);
      place.top = std::min(place.top, y);
      place.bottom = std::max(place.bottom, y + 1);
      for (int j = std::max(0, y - options.join_px); j <= std::min(height - 1, y + options.join_px);
           ++j) {
        for (int k = x - options.join_px; k <= x + options.join_px; ++k) {
          if (!inside(k) || open[index(k, j)] == 0) continue;
          open[index(k, j)] = 0;
          pixels.emplace_back(k, j);
        }
      }
    }
    place.middle_px = sum / place.torn;
    return place;
  };
  for (int x = 0; x < width; ++x) {
    for (int y = 0; y < height; ++y) {
      if (open[index(x, y)] == 0) continue;
      const TornPlace place = grown(x, y);
      if (place.torn >= options.least_torn) places.push_back(place);
    }
  }
  return places;
}

}  // namespace seamwright
