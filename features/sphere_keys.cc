#include "features/sphere_keys.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <tuple>

#include "base/parallel.h"
#include "features/even_spread.h"
#include "features/sift_picture.h"
#include "sampling/lens_view.h"

namespace seamwright {

namespace {

// A row of planes around the vertical.
struct FaceRow {
  double latitude_deg;
  int faces;
  double half_width, half_height;  // in focal lengths, with room for descriptors at the border
};
constexpr FaceRow kRows[] = {{0, 8, 0.54, 0.60}, {50, 6, 0.64, 0.64}, {-50, 6, 0.64, 0.64}};

constexpr int kSpreadBands = 12;  // of the even spread

struct Face {
  Mat3 rig_from_face = Mat3::Identity();  // x east, y down, z towards the face
  double half_width = 0;
  double half_height = 0;

  [[nodiscard]] Vec3 centre() const { return rig_from_face.col(2); }
};

std::vector<Face> faces_of_sphere() {
  std::vector<Face> faces;
  for (const FaceRow& row : kRows) {
    const double latitude = rad_from_deg(row.latitude_deg);
    for (int i = 0; i < row.faces; ++i) {
      const double longitude = 2 * kPi * i / row.faces;
      const Vec3 east(std::cos(longitude), 0, -std::sin(longitude));
      const Vec3 centre(std::cos(latitude) * std::sin(longitude), -std::sin(latitude),
                        std::cos(latitude) * std::cos(longitude));
      Face face{.half_width = row.half_width, .half_height = row.half_height};
      face.rig_from_face << east, centre.cross(east), centre;
      faces.push_back(face);
    }
  }
  return faces;
}

bool nearest_is(const std::vector<Face>& faces, std::size_t face, const Vec3& direction) {
  const double own = faces[face].centre().dot(direction);
  for (std::size_t other = 0; other < faces.size(); ++other) {
    const double theirs = faces[other].centre().dot(direction);
    if (theirs > own || (theirs == own && other < face)) return false;
  }
  return true;
}

// Where the horizontal points at a place of a face, as OpenCV gives a key's angle.
float upright_angle_deg(const Face& face, const Vec3& in_face) {
  const Vec3 down = face.rig_from_face.transpose() * Vec3::UnitY();
  // The plane's image of a step down: (x/z, y/z) differentiated along `down`.
  const Vec2 meridian = down.head<2>() * in_face.z() - in_face.head<2>() * down.z();
  const double angle = deg_from_rad(std::atan2(-meridian.x(), meridian.y()));
  return static_cast<float>(angle < 0 ? angle + 360 : angle);
}

// What was found on one face of one lens.
struct FaceKeys {
  std::optional<SiftPicture> picture;
  std::vector<cv::KeyPoint> points{};
  std::vector<SphereKey> keys{};  // parallel, still without descriptors
  std::vector<int> cells{};       // parallel
};

class LensKeys {
 public:
  LensKeys(const LensView& view, int lens, const SphereKeyOptions& options)
      : view_(view),
        lens_(lens),
        options_(options),
        px_per_rad_(options.resolution * view.mounted.lens.terms[kFocal]),
        faces_(faces_of_sphere()) {}

  std::vector<SphereKey> find() {
    std::vector<FaceKeys> found(faces_.size());
    parallel_for(0, static_cast<int>(faces_.size()), [&](int i) {
      const auto face = static_cast<std::size_t>(i);
      if (may_see(faces_[face])) found[face] = detect(face);
    });
    thin(found);
    std::vector<SphereKey> keys;
    parallel_for(0, static_cast<int>(found.size()), [&](int i) {
      FaceKeys& face = found[static_cast<std::size_t>(i)];
      if (!face.picture) return;
      const auto descriptors = face.picture->describe(face.points);
      for (std::size_t k = 0; k < descriptors.size(); ++k) face.keys[k].descriptor = descriptors[k];
    });
    for (const FaceKeys& face : found) keys.insert(keys.end(), face.keys.begin(), face.keys.end());
    std::sort(keys.begin(), keys.end(), [](const SphereKey& a, const SphereKey& b) {
      return std::tuple(a.px.y(), a.px.x(), a.size_rad, a.response) <
             std::tuple(b.px.y(), b.px.x(), b.size_rad, b.response);
    });
    return keys;
  }

 private:
  [[nodiscard]] bool may_see(const Face& face) const {
    const Vec3 axis = view_.mounted.rig_from_lens * Vec3::UnitZ();
    const double corner = std::atan(std::hypot(face.half_width, face.half_height));
    return angle_between(axis, face.centre()) < view_.mounted.lens.theta_max_rad + corner;
  }

  [[nodiscard]] FaceKeys detect(std::size_t index) const {
    const Face& face = faces_[index];
    const int width = 2 * static_cast<int>(std::ceil(face.half_width * px_per_rad_));
    const int height = 2 * static_cast<int>(std::ceil(face.half_height * px_per_rad_));
    const auto in_face = [&](const Vec2& px) {
      return Vec3((px.x() - 0.5 * width) / px_per_rad_, (px.y() - 0.5 * height) / px_per_rad_, 1);
    };
    const ResampledView seen = resample(
        view_, [&](const Vec2& px) { return Vec3(face.rig_from_face * in_face(px)); }, width,
        height);
    FaceKeys found;
    found.picture.emplace(seen, options_.contrast);
    const auto largest = static_cast<float>(options_.largest_px * options_.resolution);
    for (cv::KeyPoint& point : found.picture->detect(largest)) {
      const Vec3 at = in_face(Vec2(point.pt.x + 0.5, point.pt.y + 0.5));
      const Vec3 direction = (face.rig_from_face * at).normalized();
      const auto key = key_of(index, direction, at, point);
      if (!key) continue;
      point.angle = upright_angle_deg(face, at);
      found.points.push_back(point);
      found.keys.push_back(*key);
      found.cells.push_back(sphere_cell(direction, kSpreadBands));
    }
    return found;
  }

  // Empty where the key is not wanted.
  [[nodiscard]] std::optional<SphereKey> key_of(std::size_t face, const Vec3& direction,
                                                const Vec3& at, const cv::KeyPoint& point) const {
    if (std::abs(direction.y()) > std::cos(options_.from_vertical_rad)) return std::nullopt;
    if (!nearest_is(faces_, face, direction)) return std::nullopt;
    const auto px = view_.mounted.project_direction(direction);
    const double margin_px = options_.margin_rad * view_.mounted.lens.terms[kFocal];
    if (!px || !view_.field.contains(*px, margin_px)) return std::nullopt;
    SphereKey key{.lens = lens_, .px = *px};
    const double shrink = std::pow(at.norm(), -1.5);  // of the plane's raster against angles
    key.size_rad = static_cast<float>(point.size / px_per_rad_ * shrink);
    key.response = point.response;
    return key;
  }

  void thin(std::vector<FaceKeys>& found) const {
    std::vector<SpreadItem> items;
    for (const FaceKeys& face : found) {
      for (std::size_t k = 0; k < face.keys.size(); ++k) {
        items.push_back({face.cells[k], face.keys[k].response});
      }
    }
    std::vector<bool> kept(items.size(), false);
    for (const int i : spread_evenly(items, options_.max_keys_per_lens)) {
      kept[static_cast<std::size_t>(i)] = true;
    }
    std::size_t item = 0;
    for (FaceKeys& face : found) {
      FaceKeys fewer{.picture = std::move(face.picture)};
      for (std::size_t k = 0; k < face.keys.size(); ++k, ++item) {
        if (!kept[item]) continue;
        fewer.points.push_back(face.points[k]);
        fewer.keys.push_back(face.keys[k]);
      }
      face = std::move(fewer);
    }
  }

  const LensView& view_;
  int lens_;
  const SphereKeyOptions& options_;
  double px_per_rad_;
  std::vector<Face> faces_;
};

}  // namespace

std::optional<Error> SphereKeyOptions::validate() const {
  const auto wrong = [](const char* field, const char* what) {
    return Error{.kind = ErrorKind::user_input,
                 .where = "SphereKeyOptions",
                 .field = field,
                 .what = what,
                 .remedy = {}};
  };
  if (max_keys_per_lens < 1) return wrong("max_keys_per_lens", "must be at least 1");
  if (!(resolution >= 0.3 && resolution <= 1)) return wrong("resolution", "must be 0.3 to 1");
  if (!(contrast > 0)) return wrong("contrast", "must be above 0");
  if (!(largest_px > 2)) return wrong("largest_px", "must be above 2");
  if (!(margin_rad >= 0)) return wrong("margin_rad", "must not be negative");
  if (!(from_vertical_rad >= 0)) return wrong("from_vertical_rad", "must not be negative");
  return std::nullopt;
}

Result<ShotKeys> find_sphere_keys(const Pictures& frames, const Rig& rig,
                                  const SphereKeyOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  auto views = views_of(frames, rig);
  if (!views) return fail(std::move(views.error()));
  ShotKeys shot;
  for (std::size_t lens = 0; lens < views->size(); ++lens) {
    const auto keys = LensKeys((*views)[lens], static_cast<int>(lens), options).find();
    shot.keys.insert(shot.keys.end(), keys.begin(), keys.end());
  }
  return shot;
}

}  // namespace seamwright
