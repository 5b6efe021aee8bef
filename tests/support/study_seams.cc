// What each part of a depth seam is worth, on the demo's rooms (run by hand):
//
//   study_seams DEMO_DIR body.template.yaml PICTURES_DIR shot…
//
// DEMO_DIR is what `seamwright demo` wrote, with its truth; the template any body learned from it.
// For every shot and every way of joining prints how far the lenses miss each other at the seam
// (seam_truth.h: P95, panorama px; on the seam's path, and up to 1.5° around the middle of the
// overlap; also of what is
// beyond 0.3 m, and of what is not plain there), the share of broken and blemished textured patches
// on the ring (ring_patches.h), and how much the panorama differs from the plain one away from the
// seam. Panoramas are written to PICTURES_DIR, and beside them SHOT_patches.csv: what the pictures
// alone tell of each patch along the finished seam (compose/seams/seam_residual.h) against the
// truth there, both in panorama px.

#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "base/file.h"
#include "compose/render/render.h"
#include "compose/seams/seam_residual.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "projection/equirect.h"
#include "templates/rig_template.h"
#include "tests/support/ring_patches.h"
#include "tests/support/seam_truth.h"
#include "tests/support/value_of.h"

namespace {

using namespace seamwright;
using test::middle_rows;
using test::seam_misses;
using test::SeamMiss;
using test::SeamTruth;
using test::value_of;

struct Way {
  const char* name;
  bool depth;  // else plain
  bool walk;
  bool route;
  bool blend;
};
constexpr Way kWays[] = {{"plain", false, false, false, false},
                         {"routed", true, false, true, true},
                         {"depth", true, true, false, false},
                         {"all", true, true, true, true}};

DemoShot shot_named(const std::string& name) {
  for (const DemoShot& shot : demo_shots()) {
    if (shot.name == name) return shot;
  }
  std::fprintf(stderr, "no shot is called %s\n", name.c_str());
  std::exit(1);
}

// The truth's rig of one shot: its own small flex undone.
Rig real_rig(const std::filesystem::path& demo, const std::string& name) {
  Rig rig = value_of(read_template(demo / "truth/body.template.yaml")).rig();
  const auto poses = nlohmann::json::parse(value_of(read_file(demo / "truth/poses.json")));
  for (const auto& pose : poses["shots"]) {
    if (pose["shot"] != name) continue;
    const auto& flex = pose["back_lens_flex_rotation_vector_deg"];
    const Vec3 turn = rad_from_deg(1) * Vec3(flex[0], flex[1], flex[2]);
    rig.lenses[1].rig_from_lens = quat_from_rotation_vector(turn) * rig.lenses[1].rig_from_lens;
  }
  return rig;
}

// RMS difference in 8-bit code values, farther than `off_rad` from the ring in the middle.
double difference(const Image& one, const Image& other, const RibbonAxes& axes, double off_rad) {
  const Equirect raster{one.width(), one.height()};
  double sum = 0;
  double count = 0;
  for (int y = 0; y < one.height(); y += 2) {
    const auto p = one.row<std::uint16_t>(y);
    const auto q = other.row<std::uint16_t>(y);
    for (int x = 0; x < one.width(); x += 2) {
      const double eta = axes.angles(raster.direction({x + 0.5, y + 0.5})).eta_rad;
      if (std::abs(eta - 0.5 * kPi) < off_rad) continue;
      const double weight = std::sin(kPi * (y + 0.5) / one.height());
      for (int c = 0; c < 3; ++c) {
        const auto i = static_cast<std::size_t>(3 * x + c);
        const double step = (p[i] - q[i]) / 257.0;
        sum += weight * step * step / 3;
      }
      count += weight;
    }
  }
  return std::sqrt(sum / count);
}

constexpr double kNearest_m = 0.3;  // nearer than that no depth is looked for

constexpr double kShows = 0.03;  // contrast from which on a miss of a pixel can be seen

// What is beyond the nearest distance and, if `showing`, not plain.
std::vector<SeamMiss> chosen(const std::vector<SeamMiss>& misses, bool showing) {
  std::vector<SeamMiss> kept;
  for (const SeamMiss& miss : misses) {
    if (miss.distance_m < kNearest_m || (showing && miss.contrast < kShows)) continue;
    kept.push_back(miss);
  }
  return kept;
}

// Stretches of the ring in which the lenses miss each other by more than a pixel.
void tell_worst(const std::vector<SeamMiss>& misses) {
  for (std::size_t i = 0; i < misses.size();) {
    std::size_t end = i;
    SeamMiss worst = misses[i];
    while (end < misses.size() && misses[end].px() > 1) {
      if (misses[end].px() > worst.px()) worst = misses[end];
      ++end;
    }
    if (end > i + 4) {
      std::printf(
          "<!-- azimuth %.1f to %.1f: up to %.2f px in parallax, %.2f sideways, at %.2f m -->\n",
          deg_from_rad(misses[i].psi_rad), deg_from_rad(misses[end - 1].psi_rad), worst.parallax_px,
          worst.sideways_px, worst.distance_m);
    }
    i = std::max(end, i + 1);
  }
}

struct Stitched {
  Image image;
  std::string misses = "|  |  ";
  std::optional<SeamPlan> plan;
};

// One line a patch: what the views say, what is true on average of where it shows, the same of the
// ring's patch beside it.
void write_patches(const std::filesystem::path& file, const PairSeam& pair, const SeamTruth& truth,
                   const test::RingPatches& ring) {
  const RibbonGrid& grid = pair.warp.grid;
  const double scale = truth.panorama_px_per_rad / grid.px_per_rad;
  std::vector<double> path(pair.path.row_px.begin(), pair.path.row_px.end());
  const auto misses = chosen(seam_misses(pair, truth, path, true), true);
  const auto residual = value_of(seam_residual(*pair.views, pair.path));
  std::string text =
      "azimuth_deg,parallax,sideways,likeness,as_it_lies,contrast,shows,true_places,true_parallax,"
      "true_"
      "sideways,"
      "ring_"
      "score\n";
  for (const SeamPatch& patch : residual.patches) {
    const double psi = grid.psi_begin_rad + patch.middle_px.x() / grid.px_per_rad;
    const double reach = 0.5 * SeamResidualOptions{}.patch_px / grid.px_per_rad;
    double parallax = 0, sideways = 0, score = 1, nearest = kPi;
    int places = 0;
    for (const SeamMiss& miss : misses) {
      if (std::abs(std::remainder(miss.psi_rad - psi, 2 * kPi)) > reach) continue;
      parallax += miss.parallax_px, sideways += miss.sideways_px, ++places;
    }
    for (const test::RingPatch& beside : ring.textured) {
      const double off = std::abs(std::remainder(beside.psi_rad - psi, 2 * kPi));
      if (off < nearest) nearest = off, score = beside.score;
    }
    char line[160];
    std::snprintf(line, sizeof line, "%.1f,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f,%d,%.3f,%.3f,%.3f\n",
                  deg_from_rad(psi), -scale * patch.parallax_px, -scale * patch.sideways_px,
                  patch.likeness, patch.as_it_lies, patch.contrast, scale * patch.shows_px, places,
                  parallax / std::max(1, places), sideways / std::max(1, places), score);
    text += line;
  }
  if (auto done = write_file(file, text); !done) std::exit(1);
}

Stitched stitch(const Way& way, const Rig& rig, const std::vector<Frame>& frames,
                const SeamTruth& truth) {
  RenderOptions render;
  std::optional<SeamPlan> plan;
  Stitched stitched;
  SeamOptions seam;
  seam.walk = way.walk;
  seam.route = way.route;
  seam.join = way.blend;
  seam.keep_views = true;
  plan = value_of(plan_seams(rig, frames, seam));
  if (way.depth) render.seams = &*plan;
  const PairSeam& pair = plan->pairs.front();
  std::vector<double> path;
  for (const float row : pair.path.row_px) path.push_back(row);
  if (!way.depth) path = middle_rows(pair, 0);
  const auto on_path = seam_misses(pair, truth, path, way.walk);
  std::vector<SeamMiss> around;
  for (const double off_deg : {-1.5, -0.75, 0.0, 0.75, 1.5}) {
    const auto rows = middle_rows(pair, rad_from_deg(off_deg));
    for (const SeamMiss& miss : seam_misses(pair, truth, rows, way.walk)) around.push_back(miss);
  }
  char text[80];
  const auto showing = chosen(on_path, true);
  std::snprintf(text, sizeof text, "| %.2f | %.2f | %.2f | %.2f ", test::quantile_px(on_path, 0.95),
                test::quantile_px(chosen(on_path, false), 0.95), test::quantile_px(showing, 0.95),
                test::quantile_px(chosen(around, true), 0.95));
  stitched.misses = text;
  if (way.walk && way.route) tell_worst(showing);
  stitched.image = value_of(render_panorama(rig, frames, render)).image;
  stitched.plan = std::move(plan);
  return stitched;
}

void study(const std::filesystem::path& demo, const Rig& rig, const std::string& name,
           const std::filesystem::path& pictures) {
  const DemoScene scene;
  const DemoShot shot = shot_named(name);
  const Rig real = real_rig(demo, name);
  const auto frames = value_of(
      read_shot({demo / "frames" / (name + "_front.tif"), demo / "frames" / (name + "_back.tif")},
                {.mirrored = false}));
  const Image ideal = value_of(read_image(demo / "truth" / (name + "_panorama.tif")));
  const SeamTruth truth{rig, real, scene, shot, rig.peak_px_per_rad()};
  const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
  std::optional<Image> plain;
  for (const Way& way : kWays) {
    Stitched stitched = stitch(way, rig, frames, truth);
    const test::RingPatches ring = test::compare_ring(stitched.image, ideal, axes);
    if (!plain) plain = stitched.image;
    std::printf("| %s | %s %s| %.1f | %.1f | %.2f |\n", name.c_str(), way.name,
                stitched.misses.c_str(), 100 * ring.share_below(0.85), 100 * ring.share_below(0.93),
                difference(stitched.image, *plain, axes, rad_from_deg(2)));
    for (const test::RingPatch& patch : ring.textured) {
      if (patch.score >= 0.85 || !way.blend || !way.walk) continue;
      std::printf("<!-- broken at azimuth %.1f: %.2f -->\n", deg_from_rad(patch.psi_rad),
                  patch.score);
    }
    std::fflush(stdout);
    if (way.walk && way.route) {
      write_patches(pictures / (name + "_patches.csv"), stitched.plan->pairs.front(), truth, ring);
    }
    const auto file = pictures / (name + "_" + way.name + ".tif");
    if (auto done = write_image(file, stitched.image); !done) std::exit(1);
  }
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 5) {
    std::fputs("usage: study_seams DEMO_DIR body.template.yaml PICTURES_DIR shot...\n", stderr);
    return 1;
  }
  const Rig rig = value_of(read_template(argv[2])).rig();
  std::puts(
      "| shot | joined | P95 on the seam | beyond 0.3 m | of these, not plain | not plain within "
      "1.5° of the middle | broken % | blemished % | RMS beyond 2° |");
  std::puts("|---|---|---|---|---|---|---|---|---|");
  for (int i = 4; i < argc; ++i) study(argv[1], rig, argv[i], argv[3]);
  return 0;
}
