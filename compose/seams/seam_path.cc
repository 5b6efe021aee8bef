#include "compose/seams/seam_path.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string_view>

#include "base/parallel.h"
#include "base/smooth_step.h"
#include "compose/seams/bad_option.h"
#include "compose/seams/closed_path.h"
#include "compose/seams/ring_blur.h"

namespace seamwright {

namespace {

constexpr std::string_view kPathPart = "seam";
constexpr double kUnit = 65536;       // whole numbers of the search for a cost of 1
constexpr double kMostPrice = 30000;  // of a boundary: fits the search's numbers
constexpr double kBeyondRoom = 50;    // a row beyond the overlap
constexpr double kTakenBlind = 3;     // a pixel from a lens that does not look there
constexpr double kTakenAgainst = 1;   // a pixel from the lens that is not wanted there
constexpr int kSlackReach_px = 24;
constexpr int kSmoothingRounds = 300;

SeamWish wish_at(const SeamViews& views, int x, int y) {
  if (views.wish.empty()) return SeamWish::none;
  return static_cast<SeamWish>(views.wish.row<std::uint8_t>(y)[static_cast<std::size_t>(x)]);
}

// Prices of everything that a seam does in a ribbon.
class Prices {
 public:
  Prices(const SeamViews& views, const SeamPathOptions& options, const Image& disagreement,
         const MovingSubjects& subjects)
      : views_(views),
        options_(options),
        width_(views.light_a.width()),
        height_(views.light_a.height()),
        pixel_(width_, height_),
        if_a_(width_, height_),
        if_b_(width_, height_) {
    parallel_for(0, height_, [&](int y) {
      for (int x = 0; x < width_; ++x) {
        const bool subject = subjects.map.row<std::uint8_t>(y)[static_cast<std::size_t>(x)] != 0;
        pixel_.line(y)[x] = static_cast<float>(
            passing(x, y, disagreement.row<float>(y)[static_cast<std::size_t>(x)], subject));
        if_a_.line(y)[x] = static_cast<float>(taking(x, y, views.state_a, views.state_b, subject));
        if_b_.line(y)[x] = static_cast<float>(taking(x, y, views.state_b, views.state_a, subject));
        const SeamWish wish = wish_at(views, x, y);
        if (wish == SeamWish::from_b) if_a_.line(y)[x] += static_cast<float>(kTakenAgainst);
        if (wish == SeamWish::from_a) if_b_.line(y)[x] += static_cast<float>(kTakenAgainst);
      }
    });
    for (const MovingSubject& subject : subjects.found) {
      if (subject.reaches_a != subject.reaches_b) prefer(subject);
    }
  }

  // Boundary j of column x lies between rows j − 1 and j.
  [[nodiscard]] PathCosts boundaries() const {
    const auto rows = static_cast<std::size_t>(height_ + 1);
    PathCosts costs{width_, height_ + 1, {}};
    costs.cost.resize(static_cast<std::size_t>(width_) * rows);
    parallel_for(0, width_, [&](int x) {
      const SeamRoom room = seam_room(views_, x);
      std::int32_t* cost = costs.cost.data() + static_cast<std::size_t>(x) * rows;
      double taken = 0;  // by the split at j: rows above from a, the others from b
      for (int y = 0; y < height_; ++y) taken += if_b_.line(y)[x];
      for (int j = 0; j <= height_; ++j) {
        const float above = pixel_.line(std::max(0, j - 1))[x];
        const float below = pixel_.line(std::min(height_ - 1, j))[x];
        const double price = 0.5 * (above + below) + taken + place(room, j);
        cost[j] = static_cast<std::int32_t>(std::lround(kUnit * std::min(price, kMostPrice)));
        if (j < height_) taken += if_a_.line(j)[x] - if_b_.line(j)[x];
      }
    });
    return costs;
  }

 private:
  [[nodiscard]] double passing(int x, int y, double disagreement, bool subject) const {
    const ViewState a = state_at(views_.state_a, x, y);
    const ViewState b = state_at(views_.state_b, x, y);
    double price = options_.disagree * disagreement;
    if (a == ViewState::hidden || b == ViewState::hidden) price += options_.hidden;
    if ((a == ViewState::clipped) != (b == ViewState::clipped)) price += options_.one_clipped;
    if (subject) price += options_.subject;
    if (depth_edge(x, y)) price += options_.depth_edge;
    const auto at = static_cast<std::size_t>(x);
    if (!views_.confidence.empty()) {
      price += options_.unsure * (1 - views_.confidence.row<float>(y)[at]);
    }
    if (!views_.dearness.empty()) price += views_.dearness.row<float>(y)[at];
    const SeamWish wish = wish_at(views_, x, y);
    if (wish == SeamWish::preferred) price = std::max(0.0, price - options_.preferred);
    if (wish == SeamWish::forbidden) price += options_.forbidden;
    return price;
  }

  // Of a subject nobody knows what hides what: each lens shows it whole.
  [[nodiscard]] double taking(int x, int y, const Image& from, const Image& instead,
                              bool subject) const {
    if (state_at(instead, x, y) == ViewState::outside) return 0;  // no choice
    switch (state_at(from, x, y)) {
      case ViewState::outside:
        return kTakenBlind;
      case ViewState::hidden:
        if (subject) return 0;
        return state_at(instead, x, y) == ViewState::hidden ? 0 : options_.taken_hidden;
      default:
        return 0;
    }
  }

  // A step of depth to a neighbour one or two pixels off.
  [[nodiscard]] bool depth_edge(int x, int y) const {
    if (views_.inverse_m.empty() || views_.gap_inverse_m <= 0) return false;
    const float here = views_.inverse_m.row<float>(y)[static_cast<std::size_t>(x)];
    for (const auto& [dx, dy] : {std::pair{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {0, 2}, {0, -2}}) {
      int to_x = x + dx;
      if (views_.closed) to_x = (to_x + width_) % width_;
      const int to_y = y + dy;
      if (to_x < 0 || to_x >= width_ || to_y < 0 || to_y >= height_) continue;
      const float there = views_.inverse_m.row<float>(to_y)[static_cast<std::size_t>(to_x)];
      if (std::abs(there - here) > views_.gap_inverse_m) return true;
    }
    return false;
  }

  // Only one lens can have the subject whole.
  void prefer(const MovingSubject& subject) {
    FloatPlane& against = subject.reaches_a ? if_b_ : if_a_;
    for (int x = subject.left; x < subject.right; ++x) {
      const auto i = static_cast<std::size_t>(x - subject.left);
      for (int y = subject.outline_top[i]; y < subject.outline_bottom[i]; ++y) {
        against.line(y)[x % width_] += static_cast<float>(kTakenAgainst);
      }
    }
  }

  // What the place in the overlap costs by itself.
  [[nodiscard]] double place(const SeamRoom& room, int j) const {
    const double half = 0.5 * (room.bottom - room.top);
    const double off = std::abs(j - 0.5 * (room.top + room.bottom));
    if (off > half) return options_.middle + options_.rim + kBeyondRoom * (off - half);
    const double share = half > 0 ? off / half : 0;
    const double rim = std::max(0.0, (share - 0.75) / 0.25);
    return options_.middle * share * share + options_.rim * rim * rim;
  }

  const SeamViews& views_;
  const SeamPathOptions& options_;
  int width_;
  int height_;
  FloatPlane pixel_;  // passing it
  FloatPlane if_a_;   // taking it from a, or …
  FloatPlane if_b_;   // … from b
};

// Moves the path within what costs no more, towards the least bends.
std::vector<float> smoothed(const PathCosts& costs, const std::vector<int>& path, double slack,
                            bool closed) {
  const std::size_t columns = path.size();
  const auto allowed = static_cast<std::int32_t>(std::lround(kUnit * slack));
  std::vector<float> lowest(columns);
  std::vector<float> highest(columns);
  std::vector<float> row(columns);
  for (std::size_t x = 0; x < columns; ++x) {
    const std::int32_t* cost = costs.column(static_cast<int>(x));
    const std::int32_t most = cost[path[x]] + allowed;
    int first = path[x];
    int last = path[x];
    while (first > std::max(0, path[x] - kSlackReach_px) && cost[first - 1] <= most) --first;
    while (last < std::min(costs.rows - 1, path[x] + kSlackReach_px) && cost[last + 1] <= most) {
      ++last;
    }
    row[x] = static_cast<float>(path[x]);
    const auto reach = [&](int to, float by) {
      const float part = std::clamp(row[x] + by, 0.0F, static_cast<float>(costs.rows - 1));
      return by < 0 ? std::min(static_cast<float>(to), part)
                    : std::max(static_cast<float>(to), part);
    };
    lowest[x] = reach(first, -0.5F);
    highest[x] = reach(last, 0.5F);
  }
  std::vector<float> next(columns);
  for (int round = 0; round < kSmoothingRounds; ++round) {
    for (std::size_t x = 0; x < columns; ++x) {
      const std::size_t before = x > 0 ? x - 1 : closed ? columns - 1 : x;
      const std::size_t after = x + 1 < columns ? x + 1 : closed ? 0 : x;
      // Neighbours first: their sum is the same from either side.
      const float mean = 0.5F * row[x] + 0.25F * (row[before] + row[after]);
      next[x] = std::clamp(mean, lowest[x], highest[x]);
    }
    std::swap(row, next);
  }
  return row;
}

TakenFrom taken_from(const MovingSubject& subject, const std::vector<float>& row_px) {
  bool all_a = true;
  bool all_b = true;
  for (int x = subject.left; x < subject.right; ++x) {
    const auto i = static_cast<std::size_t>(x - subject.left);
    const float row = row_px[static_cast<std::size_t>(x) % row_px.size()];
    // A row of the outline's room may be shared with the feather.
    all_a = all_a && row >= static_cast<float>(subject.outline_bottom[i] - 1);
    all_b = all_b && row <= static_cast<float>(subject.outline_top[i] + 1);
  }
  if (all_a == all_b) return TakenFrom::both;
  return all_a ? TakenFrom::a : TakenFrom::b;
}

int count_forbidden(const SeamViews& views, const std::vector<int>& path) {
  int columns = 0;
  for (std::size_t x = 0; x < path.size(); ++x) {
    const int above = std::max(0, path[x] - 1);
    const int below = std::min(views.light_a.height() - 1, path[x]);
    const bool inside = wish_at(views, static_cast<int>(x), above) == SeamWish::forbidden &&
                        wish_at(views, static_cast<int>(x), below) == SeamWish::forbidden;
    columns += inside ? 1 : 0;
  }
  return columns;
}

}  // namespace

std::optional<Error> SeamPathOptions::validate() const {
  const std::pair<const char*, double> prices[] = {{"disagree", disagree},
                                                   {"depth_edge", depth_edge},
                                                   {"unsure", unsure},
                                                   {"hidden", hidden},
                                                   {"taken_hidden", taken_hidden},
                                                   {"one_clipped", one_clipped},
                                                   {"subject", subject},
                                                   {"forbidden", forbidden},
                                                   {"preferred", preferred},
                                                   {"middle", middle},
                                                   {"rim", rim},
                                                   {"step", step},
                                                   {"slack", slack}};
  for (const auto& [field, price] : prices) {
    if (!(price >= 0 && price <= 100)) return bad_option(kPathPart, field, price, "in 0…100");
  }
  if (most_step < 1 || most_step > 8)
    return bad_option(kPathPart, "most_step", most_step, "in 1…8");
  return std::nullopt;
}

double SeamPath::row_at(double x_px) const {
  const auto columns = static_cast<std::ptrdiff_t>(row_px.size());
  const double at = x_px - 0.5;
  const double whole = std::floor(at);
  const double part = at - whole;
  const auto column = [&](std::ptrdiff_t x) {
    const std::ptrdiff_t to =
        closed ? (x % columns + columns) % columns : std::clamp<std::ptrdiff_t>(x, 0, columns - 1);
    return static_cast<double>(row_px[static_cast<std::size_t>(to)]);
  };
  const auto left = static_cast<std::ptrdiff_t>(whole);
  return (1 - part) * column(left) + part * column(left + 1);
}

double SeamPath::share_a(double x_px, double row_px_at, double feather_px) const {
  const double above_px = row_at(x_px) - row_px_at;
  if (feather_px <= 0) return above_px >= 0 ? 1 : 0;
  return level_step(above_px / feather_px + 0.5);
}

Result<SeamPath> seam_path(const SeamViews& views, const SeamPathOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = check(views)) return fail(std::move(*error));
  const Image disagreement = view_disagreement(views);
  MovingSubjects subjects = moving_subjects(views, disagreement, options.subjects);
  const PathCosts costs = Prices(views, options, disagreement, subjects).boundaries();
  const StepCosts steps{static_cast<std::int32_t>(std::lround(kUnit * options.step)), 0,
                        options.most_step};
  const CheapestPath path = cheapest_path(costs, steps, views.closed);
  SeamPath seam{.closed = views.closed,
                .row_px = smoothed(costs, path.row, options.slack, views.closed),
                .cost = static_cast<double>(path.cost) / kUnit,
                .forbidden_columns = count_forbidden(views, path.row),
                .subjects = std::move(subjects.found),
                .subject_map = std::move(subjects.map)};
  for (MovingSubject& subject : seam.subjects) {
    subject.taken = taken_from(subject, seam.row_px);
  }
  return seam;
}

}  // namespace seamwright
