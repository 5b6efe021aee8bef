#include "compose/seams/seam_residual.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string_view>
#include <utility>

#include "base/parallel.h"
#include "compose/seams/bad_option.h"
#include "compose/seams/view_detail.h"

namespace seamwright {

namespace {

constexpr std::string_view kResidualPart = "seam residual";

struct Shift {
  int sideways = 0;
  int parallax = 0;
};

FloatPlane smooth_detail(const FloatPlane& detail, const FloatPlane& shown,
                         const SeamResidualOptions& options, bool closed) {
  FloatPlane smooth = blurred(detail, options.grain_px, closed);
  const FloatPlane share = blurred(shown, options.grain_px, closed);
  for (std::size_t i = 0; i < smooth.values.size(); ++i) {
    if (shown.values[i] > 0) smooth.values[i] /= share.values[i];
  }
  return smooth;
}

// What both lenses show of a ribbon, without what is smooth.
struct Details {
  FloatPlane a;
  FloatPlane b;
  FloatPlane shown;  // 1 where both show it
  bool closed = false;
};

Details details_of(const SeamViews& views, const SeamResidualOptions& options) {
  Details details{.a = {}, .b = {}, .shown = shown_by_both(views), .closed = views.closed};
  const auto detail_of = view_details(views, details.shown, options.flat_px);
  details.a = smooth_detail(detail_of[0], details.shown, options, views.closed);
  details.b = smooth_detail(detail_of[1], details.shown, options, views.closed);
  return details;
}

// The patch around one middle, compared under whole shifts.
class PatchComparer {
 public:
  PatchComparer(const Details& of, const SeamResidualOptions& options, int column, int row)
      : a_(of.a),
        b_(of.b),
        shown_(of.shown),
        closed_(of.closed),
        options_(options),
        x_(column),
        y_(row) {}

  // Standard deviation of lens a's detail; nothing where too little is shown.
  [[nodiscard]] std::optional<double> detail() const {
    const Sums sums = sums_at({});
    if (sums.count < options_.least_shown * options_.patch_px * options_.patch_px) {
      return std::nullopt;
    }
    return std::sqrt(std::min(sums.variance_a(), sums.variance_b()) / sums.count);
  }

  // −1 where too little is shown by both.
  [[nodiscard]] double likeness(const Shift& shift) const {
    const Sums sums = sums_at(shift);
    if (sums.count < options_.least_shown * options_.patch_px * options_.patch_px) return -1;
    const double scale = sums.variance_a() * sums.variance_b();
    return scale > 0 ? sums.covariance() / std::sqrt(scale) : -1;
  }

 private:
  struct Sums {
    double count = 0, a = 0, b = 0, aa = 0, bb = 0, ab = 0;

    [[nodiscard]] double variance_a() const { return aa - a * a / count; }
    [[nodiscard]] double variance_b() const { return bb - b * b / count; }
    [[nodiscard]] double covariance() const { return ab - a * b / count; }
  };

  [[nodiscard]] int column(int x) const {
    if (!closed_) return x >= 0 && x < a_.width ? x : -1;
    return (x % a_.width + a_.width) % a_.width;
  }

  // Lens a's patch against lens b's, moved: half of the shift each way would need fractions.
  [[nodiscard]] Sums sums_at(const Shift& shift) const {
    Sums sums;
    const int half = options_.patch_px / 2;
    for (int y = y_ - half; y < y_ + half; ++y) {
      const int to = y + shift.parallax;
      if (y < 0 || y >= a_.height || to < 0 || to >= a_.height) continue;
      for (int x = x_ - half; x < x_ + half; ++x) {
        const int left = column(x), right = column(x + shift.sideways);
        if (left < 0 || right < 0) continue;
        if (shown_.line(y)[left] == 0 || shown_.line(to)[right] == 0) continue;
        const double a = static_cast<double>(a_.line(y)[left]);
        const double b = static_cast<double>(b_.line(to)[right]);
        sums.count += 1;
        sums.a += a;
        sums.b += b;
        sums.aa += a * a;
        sums.bb += b * b;
        sums.ab += a * b;
      }
    }
    return sums;
  }

  const FloatPlane& a_;
  const FloatPlane& b_;
  const FloatPlane& shown_;
  bool closed_;
  const SeamResidualOptions& options_;
  int x_;
  int y_;
};

// All shifts within reach.
class LikenessMap {
 public:
  LikenessMap(const PatchComparer& patch, const SeamResidualOptions& options)
      : sideways_(options.reach_sideways_px), parallax_(options.reach_parallax_px) {
    for (int parallax = -parallax_; parallax <= parallax_; ++parallax) {
      for (int sideways = -sideways_; sideways <= sideways_; ++sideways) {
        value_.push_back(patch.likeness({sideways, parallax}));
      }
    }
  }

  [[nodiscard]] bool inside(const Shift& shift) const {
    return std::abs(shift.sideways) <= sideways_ && std::abs(shift.parallax) <= parallax_;
  }
  [[nodiscard]] double at(const Shift& shift) const {
    return value_[static_cast<std::size_t>((shift.parallax + parallax_) * (2 * sideways_ + 1) +
                                           shift.sideways + sideways_)];
  }

  // The maximum that steps to the best neighbour lead to.
  [[nodiscard]] Shift climb(Shift from) const {
    for (;;) {
      Shift best = from;
      for (int parallax = -1; parallax <= 1; ++parallax) {
        for (int sideways = -1; sideways <= 1; ++sideways) {
          const Shift to{from.sideways + sideways, from.parallax + parallax};
          if (inside(to) && at(to) > at(best)) best = to;
        }
      }
      if (best.sideways == from.sideways && best.parallax == from.parallax) return from;
      from = best;
    }
  }

  [[nodiscard]] Shift highest() const {
    Shift best;
    for (int parallax = -parallax_; parallax <= parallax_; ++parallax) {
      for (int sideways = -sideways_; sideways <= sideways_; ++sideways) {
        if (at({sideways, parallax}) > at(best)) best = {sideways, parallax};
      }
    }
    return best;
  }

  // Between whole shifts, linear in both.
  [[nodiscard]] double between(double sideways, double parallax) const {
    const auto left = std::clamp(static_cast<int>(std::floor(sideways)), -sideways_, sideways_ - 1);
    const auto top = std::clamp(static_cast<int>(std::floor(parallax)), -parallax_, parallax_ - 1);
    const double x = sideways - left, y = parallax - top;
    return (1 - y) * ((1 - x) * at({left, top}) + x * at({left + 1, top})) +
           y * ((1 - x) * at({left, top + 1}) + x * at({left + 1, top + 1}));
  }

  // Length of the least shift that is this alike, on a raster of quarters of a pixel.
  [[nodiscard]] double least_px(double likeness) const {
    constexpr int kParts = 4;
    double least = std::hypot(sideways_, parallax_);
    for (int parallax = -kParts * parallax_; parallax <= kParts * parallax_; ++parallax) {
      for (int sideways = -kParts * sideways_; sideways <= kParts * sideways_; ++sideways) {
        const double x = static_cast<double>(sideways) / kParts;
        const double y = static_cast<double>(parallax) / kParts;
        const double length = std::hypot(x, y);
        if (length < least && between(x, y) >= likeness) least = length;
      }
    }
    return least;
  }

  // Where a parabola through a maximum and its neighbours is highest, −0.5…0.5.
  [[nodiscard]] double fraction(const Shift& peak, const Shift& step) const {
    const Shift before{peak.sideways - step.sideways, peak.parallax - step.parallax};
    const Shift after{peak.sideways + step.sideways, peak.parallax + step.parallax};
    if (!inside(before) || !inside(after)) return 0;
    const double bend = at(before) - 2 * at(peak) + at(after);
    return bend < 0 ? std::clamp(0.5 * (at(before) - at(after)) / bend, -0.5, 0.5) : 0;
  }

 private:
  int sideways_;
  int parallax_;
  std::vector<double> value_;
};

SeamPatch compared(const PatchComparer& comparer, const Vec2& middle_px, double contrast,
                   const SeamResidualOptions& options) {
  const LikenessMap map(comparer, options);
  Shift peak = map.climb({});
  const Shift other = map.highest();
  if (map.at(other) > map.at(peak) + options.much_better) peak = other;
  SeamPatch patch{.middle_px = middle_px,
                  .parallax_px = peak.parallax + map.fraction(peak, {0, 1}),
                  .sideways_px = peak.sideways + map.fraction(peak, {1, 0}),
                  .likeness = map.at(peak),
                  .as_it_lies = map.at({}),
                  .contrast = contrast};
  patch.shows_px = map.least_px(patch.likeness - options.as_alike);
  return patch;
}

}  // namespace

std::optional<Error> SeamResidualOptions::validate() const {
  if (patch_px < 8) return bad_option(kResidualPart, "patch_px", patch_px, "at least 8");
  if (spacing_px < 1) return bad_option(kResidualPart, "spacing_px", spacing_px, "at least 1");
  if (reach_parallax_px < 1)
    return bad_option(kResidualPart, "reach_parallax_px", reach_parallax_px, "at least 1");
  if (reach_sideways_px < 1)
    return bad_option(kResidualPart, "reach_sideways_px", reach_sideways_px, "at least 1");
  if (!(flat_px > 1)) return bad_option(kResidualPart, "flat_px", flat_px, "above 1");
  if (!(grain_px > 0 && grain_px < flat_px))
    return bad_option(kResidualPart, "grain_px", grain_px, "above 0 and below flat_px");
  if (!(least_detail > 0))
    return bad_option(kResidualPart, "least_detail", least_detail, "above 0");
  if (!(least_shown > 0 && least_shown <= 1))
    return bad_option(kResidualPart, "least_shown", least_shown, "in 0…1");
  if (!(as_alike >= 0)) return bad_option(kResidualPart, "as_alike", as_alike, "at least 0");
  if (!(much_better >= 0))
    return bad_option(kResidualPart, "much_better", much_better, "at least 0");
  return std::nullopt;
}

double SeamPatch::px() const { return std::hypot(parallax_px, sideways_px); }

Result<SeamResidual> seam_residual(const SeamViews& views, const SeamPath& path,
                                   const SeamResidualOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  if (auto error = check(views)) return fail(std::move(*error));
  const int width = views.light_a.width();
  if (static_cast<int>(path.row_px.size()) != width) {
    return fail(Error{.kind = ErrorKind::user_input,
                      .where = {},
                      .field = "seam residual path",
                      .what = "is not as wide as the views",
                      .remedy = "give the path through these very views"});
  }
  const Details details = details_of(views, options);
  SeamResidual residual{.places = width / options.spacing_px, .patches = {}};
  std::vector<std::optional<SeamPatch>> found(static_cast<std::size_t>(residual.places));
  parallel_for(0, residual.places, [&](int k) {
    const int x = k * options.spacing_px + options.spacing_px / 2;
    const double row_px = static_cast<double>(path.row_px[static_cast<std::size_t>(x)]);
    const PatchComparer comparer(details, options, x, static_cast<int>(std::lround(row_px)));
    const auto detail = comparer.detail();
    if (!detail || *detail < options.least_detail) return;
    found[static_cast<std::size_t>(k)] = compared(comparer, {x, row_px}, *detail, options);
  });
  for (auto& patch : found) {
    if (patch) residual.patches.push_back(std::move(*patch));
  }
  return residual;
}

}  // namespace seamwright
