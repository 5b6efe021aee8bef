#include "compose/seams/moving_subjects.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>

#include "base/parallel.h"
#include "compose/seams/blend_kernels.h"
#include "compose/seams/gain_field.h"
#include "compose/seams/ring_blur.h"

namespace seamwright {

namespace {

constexpr float kFloor = 0.01F;  // light added before the logarithm: noise of shadows fades
constexpr float kFullStep_ev = 1.0F;
constexpr double kDisagreementBlur_px = 0.8;

bool in_sight(const SeamViews& views, int x, int y) {
  const auto sees = [](ViewState state) {
    return state == ViewState::good || state == ViewState::clipped;
  };
  return sees(state_at(views.state_a, x, y)) && sees(state_at(views.state_b, x, y));
}

struct Place {
  int x = 0;  // unwrapped: may lie beyond the raster of a closed ribbon
  int y = 0;
};

// Ribbon of marks that neighbours are looked up in.
class Marks {
 public:
  Marks(int width, int height, bool closed)
      : width_(width),
        height_(height),
        closed_(closed),
        mark_(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), 0) {}

  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] int height() const { return height_; }
  [[nodiscard]] bool closed() const { return closed_; }
  [[nodiscard]] int column(int x) const { return closed_ ? (x % width_ + width_) % width_ : x; }
  [[nodiscard]] bool inside(int x, int y) const {
    return y >= 0 && y < height_ && (closed_ || (x >= 0 && x < width_));
  }
  [[nodiscard]] std::uint8_t& at(int x, int y) {
    return mark_[static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
                 static_cast<std::size_t>(column(x))];
  }
  [[nodiscard]] std::uint8_t* row(int y) {
    return mark_.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width_);
  }
  [[nodiscard]] const std::uint8_t* row(int y) const { return const_cast<Marks*>(this)->row(y); }
  [[nodiscard]] std::uint8_t at(int x, int y) const { return const_cast<Marks*>(this)->at(x, y); }

 private:
  int width_;
  int height_;
  bool closed_;
  std::vector<std::uint8_t> mark_;
};

// Marks grown by a box of the given half sizes.
Marks grown(const Marks& marks, int sideways_px, int parallax_px) {
  Marks wide(marks.width(), marks.height(), marks.closed());
  parallel_for(0, marks.height(), [&](int y) {
    const std::uint8_t* from = marks.row(y);
    for (int x = 0; x < marks.width(); ++x) {
      if (from[x] == 0) continue;
      for (int d = -sideways_px; d <= sideways_px; ++d) {
        if (marks.inside(x + d, y)) wide.at(x + d, y) = 1;
      }
    }
  });
  Marks tall(marks.width(), marks.height(), marks.closed());
  parallel_for(0, marks.height(), [&](int y) {
    std::uint8_t* to = tall.row(y);
    const int last = std::min(marks.height() - 1, y + parallax_px);
    for (int from = std::max(0, y - parallax_px); from <= last; ++from) {
      const std::uint8_t* row = wide.row(from);
      for (int x = 0; x < marks.width(); ++x) to[x] = static_cast<std::uint8_t>(to[x] | row[x]);
    }
  });
  return tall;
}

// All places connected to (x, y), which are taken off the marks.
std::vector<Place> taken_region(Marks& marks, int x, int y) {
  std::vector<Place> region{{x, y}};
  marks.at(x, y) = 0;
  for (std::size_t i = 0; i < region.size(); ++i) {
    const Place here = region[i];
    for (int dy = -1; dy <= 1; ++dy) {
      for (int dx = -1; dx <= 1; ++dx) {
        if (!marks.inside(here.x + dx, here.y + dy)) continue;
        std::uint8_t& mark = marks.at(here.x + dx, here.y + dy);
        if (mark == 0) continue;
        mark = 0;
        region.push_back({here.x + dx, here.y + dy});
      }
    }
  }
  return region;
}

// Connected places that differ, and the box around them.
struct Region {
  std::vector<Place> places;
  int left = 0;
  int right = 0;  // one past the last, as `bottom`
  int top = 0;
  int bottom = 0;

  explicit Region(std::vector<Place> all) : places(std::move(all)) {
    left = right = places.front().x;
    top = bottom = places.front().y;
    for (const Place& place : places) include(place);
  }
  void include(const Place& place) {
    left = std::min(left, place.x);
    right = std::max(right, place.x + 1);
    top = std::min(top, place.y);
    bottom = std::max(bottom, place.y + 1);
  }
};

// One above the other: most columns of the narrower in common, and not far apart.
bool belong_together(const Region& one, const Region& other, int shift, int most_gap_px) {
  const int common =
      std::min(one.right, other.right + shift) - std::max(one.left, other.left + shift);
  const int narrower = std::min(one.right - one.left, other.right - other.left);
  const int gap = std::max(one.top, other.top) - std::min(one.bottom, other.bottom);
  return 2 * common > narrower && gap <= most_gap_px;
}

// Joins large regions until none are left that belong together.
void join_large(std::vector<Region>& regions, int width, bool closed,
                const SubjectOptions& options) {
  const auto large = [&](const Region& region) {
    return static_cast<int>(region.places.size()) >= options.large_px;
  };
  for (std::size_t i = 0; i < regions.size(); ++i) {
    for (std::size_t k = 0; k < regions.size(); ++k) {
      if (i == k || !large(regions[i]) || !large(regions[k])) continue;
      for (const int shift : {0, -width, width}) {
        if (shift != 0 && !closed) continue;
        if (!belong_together(regions[i], regions[k], shift, options.join_large_parallax_px))
          continue;
        for (Place place : regions[k].places) {
          place.x += shift;
          regions[i].places.push_back(place);
          regions[i].include(place);
        }
        regions.erase(regions.begin() + static_cast<std::ptrdiff_t>(k));
        if (k < i) --i;
        k = static_cast<std::size_t>(-1);  // what it grew to may reach the others
        break;
      }
    }
  }
}

std::int64_t turn(const Place& a, const Place& b, const Place& c) {
  return std::int64_t{b.x - a.x} * (c.y - a.y) - std::int64_t{b.y - a.y} * (c.x - a.x);
}

// One side of the convex hull of one place a column, in order of x; `side` 1 keeps the upper.
std::vector<double> hull_side(const std::vector<Place>& edge, int side) {
  std::vector<Place> hull;
  for (const Place& place : edge) {
    while (hull.size() > 1 && side * turn(hull[hull.size() - 2], hull.back(), place) <= 0) {
      hull.pop_back();
    }
    hull.push_back(place);
  }
  std::vector<double> row;
  std::size_t piece = 0;
  for (int x = edge.front().x; x <= edge.back().x; ++x) {
    while (piece + 2 < hull.size() && hull[piece + 1].x < x) ++piece;
    const Place& from = hull[piece];
    const Place& to = hull[std::min(piece + 1, hull.size() - 1)];
    const double part = to.x > from.x ? 1.0 * (x - from.x) / (to.x - from.x) : 0;
    row.push_back(from.y + part * (to.y - from.y));
  }
  return row;
}

// Convex outline of the places that differ, with room around it. Sorted places, one run of columns.
void draw_outline(std::vector<Place> places, int height, int room_px, MovingSubject& subject) {
  std::sort(places.begin(), places.end(), [](const Place& p, const Place& q) {
    return std::pair(p.x, p.y) < std::pair(q.x, q.y);
  });
  std::vector<Place> upper;
  std::vector<Place> lower;
  for (const Place& place : places) {
    if (upper.empty() || upper.back().x != place.x) {
      upper.push_back(place);
      lower.push_back(place);
    }
    lower.back() = place;
  }
  const std::vector<double> top = hull_side(upper, 1);
  const std::vector<double> bottom = hull_side(lower, -1);
  const int columns = static_cast<int>(top.size());
  subject.left = upper.front().x - room_px;
  subject.right = upper.back().x + room_px + 1;
  subject.top = height;
  subject.bottom = 0;
  for (int i = -room_px; i < columns + room_px; ++i) {
    const auto at = static_cast<std::size_t>(std::clamp(i, 0, columns - 1));
    const int first = std::max(0, static_cast<int>(std::floor(top[at])) - room_px);
    const int last = std::min(height, static_cast<int>(std::ceil(bottom[at])) + 1 + room_px);
    subject.outline_top.push_back(first);
    subject.outline_bottom.push_back(last);
    subject.top = std::min(subject.top, first);
    subject.bottom = std::max(subject.bottom, last);
  }
}

// Cuts off what an open ribbon does not have; shifts a closed one's subject to begin inside.
void fit_into(const Marks& marks, MovingSubject& subject) {
  if (marks.closed()) {
    const int shift = marks.column(subject.left) - subject.left;
    subject.left += shift;
    subject.right += shift;
    return;
  }
  const int off_left = std::max(0, -subject.left);
  const int off_right = std::max(0, subject.right - marks.width());
  for (std::vector<int>* edge : {&subject.outline_top, &subject.outline_bottom}) {
    edge->erase(edge->end() - off_right, edge->end());
    edge->erase(edge->begin(), edge->begin() + off_left);
  }
  subject.left += off_left;
  subject.right -= off_right;
}

void find_reach(const SeamViews& views, const Marks& marks, MovingSubject& subject) {
  for (int x = subject.left; x < subject.right; ++x) {
    const auto i = static_cast<std::size_t>(x - subject.left);
    const SeamRoom room = seam_room(views, marks.column(x));
    if (room.top == room.bottom) continue;
    subject.reaches_a = subject.reaches_a || subject.outline_top[i] <= room.top;
    subject.reaches_b = subject.reaches_b || subject.outline_bottom[i] >= room.bottom;
  }
}

// Where the views, smoothed, show different things.
Marks differing(const SeamViews& views, const Image& disagreement, const SubjectOptions& options) {
  const int width = disagreement.width();
  const int height = disagreement.height();
  FloatPlane weighted(width, height);
  FloatPlane weight(width, height);
  parallel_for(0, height, [&](int y) {
    const auto differs = disagreement.row<float>(y);
    for (int x = 0; x < width; ++x) {
      if (!in_sight(views, x, y)) continue;
      weight.line(y)[x] = 1;
      weighted.line(y)[x] = differs[static_cast<std::size_t>(x)];
    }
  });
  const double sigma = std::max(0.5, 0.5 * options.reach_px);
  parallel_for(0, 2, [&](int i) {
    FloatPlane& plane = i == 0 ? weighted : weight;
    plane = blurred(plane, sigma, views.closed);
  });
  Marks marks(width, height, views.closed);
  parallel_for(0, height, [&](int y) {
    const float* smooth = weighted.line(y);
    const float* share = weight.line(y);
    std::uint8_t* to = marks.row(y);
    for (int x = 0; x < width; ++x) {
      const bool differs =
          share[x] > 0.2F && smooth[x] > static_cast<float>(options.differ) * share[x];
      to[x] = differs && in_sight(views, x, y) ? 1 : 0;
    }
  });
  return marks;
}

}  // namespace

Image view_disagreement(const SeamViews& views) {
  const int width = views.light_a.width();
  const int height = views.light_a.height();
  const int channels = views.light_a.channel_count();
  // A wide tolerance: what the lenses have in common is most of the ribbon, whatever the rest.
  const GainRaster field(fit_gain_field(views, {}, {.harmonics = 1, .most_ev = 2}));
  FloatPlane differs(width, height);
  parallel_for(0, height, [&](int y) {
    const auto a = views.light_a.row<float>(y);
    const auto b = views.light_b.row<float>(y);
    const std::uint8_t* state_a = views.state_a.row<std::uint8_t>(y).data();
    const std::uint8_t* state_b = views.state_b.row<std::uint8_t>(y).data();
    const auto count = static_cast<std::size_t>(width);
    const auto samples = static_cast<std::size_t>(channels);
    std::vector<float> quotient(a.size());
    for (std::size_t i = 0; i < a.size(); ++i) {
      quotient[i] = (std::max(a[i], 0.0F) + kFloor) / (std::max(b[i], 0.0F) + kFloor);
    }
    std::vector<float> ratio_ev(a.size());
    log_row(quotient.data(), 0, quotient.size(), ratio_ev.data());
    std::array<std::vector<float>, 3> common;
    for (std::size_t c = 0; c < samples; ++c) {
      common[c].resize(count);
      field.ratios_ev(y, c, common[c]);
    }
    float* to = differs.line(y);
    for (std::size_t x = 0; x < count; ++x) {
      float most = 0;
      for (std::size_t c = 0; c < samples; ++c) {
        most = std::max(most, std::abs(ratio_ev[x * samples + c] - common[c][x]));
      }
      // Where light is lost in both there is nothing to tell apart.
      constexpr auto kClipped = static_cast<std::uint8_t>(ViewState::clipped);
      const bool told = state_a[x] <= kClipped && state_b[x] <= kClipped &&
                        (state_a[x] != kClipped || state_b[x] != kClipped);
      to[x] = told ? std::min(1.0F, most / kFullStep_ev) : 0.0F;
    }
  });
  const FloatPlane smooth = blurred(differs, kDisagreementBlur_px, views.closed);
  Image result(width, height, Channels::grey, SampleType::f32);
  parallel_for(0, height,
               [&](int y) { std::copy_n(smooth.line(y), width, result.row<float>(y).begin()); });
  return result;
}

MovingSubjects moving_subjects(const SeamViews& views, const Image& disagreement,
                               const SubjectOptions& options) {
  const int width = disagreement.width();
  const int height = disagreement.height();
  const Marks marks = differing(views, disagreement, options);
  Marks joined = grown(marks, options.join_sideways_px / 2, options.join_parallax_px / 2);
  MovingSubjects subjects{{}, Image(width, height, Channels::grey, SampleType::u8)};
  std::vector<Region> regions;
  std::vector<std::uint8_t> any(static_cast<std::size_t>(width), 0);  // by column
  for (int y = 0; y < height; ++y) {
    const std::uint8_t* row = joined.row(y);
    for (std::size_t x = 0; x < any.size(); ++x)
      any[x] = static_cast<std::uint8_t>(any[x] | row[x]);
  }
  for (int x = 0; x < width; ++x) {
    if (any[static_cast<std::size_t>(x)] == 0) continue;
    for (int y = 0; y < height; ++y) {
      if (joined.at(x, y) == 0) continue;
      std::vector<Place> places = taken_region(joined, x, y);
      std::erase_if(places, [&](const Place& at) { return marks.at(at.x, at.y) == 0; });
      const int pixels = static_cast<int>(places.size());
      if (pixels < options.least_px || pixels > options.most_share * width * height) continue;
      regions.emplace_back(std::move(places));
    }
  }
  join_large(regions, width, views.closed, options);
  for (Region& region : regions) {
    MovingSubject subject{.pixels = static_cast<int>(region.places.size())};
    draw_outline(std::move(region.places), height, options.outline_px, subject);
    if (subject.right - subject.left >= width) continue;  // all around: no outline
    fit_into(marks, subject);
    find_reach(views, marks, subject);
    for (int column = subject.left; column < subject.right; ++column) {
      const auto i = static_cast<std::size_t>(column - subject.left);
      for (int row = subject.outline_top[i]; row < subject.outline_bottom[i]; ++row) {
        subjects.map.row<std::uint8_t>(row)[static_cast<std::size_t>(marks.column(column))] = 1;
      }
    }
    subjects.found.push_back(std::move(subject));
  }
  return subjects;
}

}  // namespace seamwright
