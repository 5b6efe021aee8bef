// How the seam stands up to the hard room (run by hand):
//
//   study_hard_room FOLDER
//
// with INDEPENDENT_RENDERS and SEAMWRIGHT_PROGRAM set as the tests have them. Learns the body from
// the other room, unless FOLDER has its template already. Takes and stitches stands 5 to 7, and
// measures the seam: plain, joined by depth, and the ideal, as soft as frames are, against itself.
// Lists what is broken or blemished, and what the program said. Writes pictures of the ring to
// FOLDER: plain, joined, ideal, one above the other.

#include <cmath>
#include <cstdio>
#include <exception>
#include <filesystem>

#include <fmt/format.h>

#include "shots.h"
#include "sphere.h"

namespace {

using namespace independent;

Words taken(const std::string& folder, int stand) {
  Words files;
  for (const std::string& name : kNames) {
    files.push_back(fmt::format("{}/room{}_{}.tif", folder, stand, name));
  }
  if (std::filesystem::exists(files[0]) && std::filesystem::exists(files[1])) return files;
  return write_shot(folder, lights(stand, Vector3d::Zero()), stand);
}

// The ring of a panorama, 12 degrees to both sides, as codes.
Picture ring(const Picture& panorama, const Stand& stand, const Vector3d& turn_deg) {
  constexpr int kAround = 2944;
  constexpr int kRows = 196;
  Picture codes(kAround, kRows);
  const Sphere sphere(panorama);
  const Matrix3d turn = turn_of(turn_deg) * stand.upright_from_body();
  for (int y = 0; y < kRows; ++y) {
    for (int x = 0; x < kAround; ++x) {
      const double psi = 2 * kPi * (x + 0.5) / kAround;
      const double eta = 0.5 * kPi + (y + 0.5 - 0.5 * kRows) * 2 * kPi / kAround;
      const Vector3d v = turn * Vector3d(std::sin(eta) * std::cos(psi),
                                         std::sin(eta) * std::sin(psi), std::cos(eta));
      for (int c = 0; c < 3; ++c) {
        const double light = std::clamp(1.1 * sphere.at(v, c), 0.0, 1.0);
        codes.at(x, y, c) = static_cast<float>(srgb_code(light));
      }
    }
  }
  return codes;
}

// As sharp as frames show it, which is not quite the room.
Picture softened(const Picture& from) {
  constexpr int kReach = 3;
  const double sigma_px = from.width / (2 * kPi) * 0.6 / kFrame_px_per_rad;
  const auto weight = [&](int off) { return std::exp(-0.5 * off * off / (sigma_px * sigma_px)); };
  Picture to(from.width, from.height);
  for (int y = 0; y < from.height; ++y) {
    for (int x = 0; x < from.width; ++x) {
      for (int c = 0; c < 3; ++c) {
        double sum = 0;
        double weights = 0;
        for (int j = -kReach; j <= kReach; ++j) {
          const int row = std::clamp(y + j, 0, from.height - 1);
          for (int i = -kReach; i <= kReach; ++i) {
            const double w = weight(i) * weight(j);
            sum += w * from.at((x + i + from.width) % from.width, row, c);
            weights += w;
          }
        }
        to.at(x, y, c) = static_cast<float>(sum / weights);
      }
    }
  }
  return to;
}

Picture stacked(const std::vector<Picture>& pictures) {
  Picture all(pictures[0].width, 0);
  for (const Picture& picture : pictures) {
    all.samples.insert(all.samples.end(), picture.samples.begin(), picture.samples.end());
    all.height += picture.height;
  }
  return all;
}

void print(int stand, const char* what, const SeamPatches& seam) {
  std::printf("| %d | %s | %.1f | %.1f | %.4f | %d |\n", stand, what, 100 * seam.broken,
              100 * seam.blemished, seam.unlike, seam.textured);
}

void study(const std::string& folder, int stand) {
  const Room room = room_at(stand);
  const Stand& place = kStands[static_cast<std::size_t>(stand - 1)];
  const Words frames = taken(folder, stand);
  const Vector3d none = Vector3d::Zero();
  print(stand, "ideal", seam_patches(softened(room.light), room, place, none));
  std::vector<Picture> rings;
  for (const char* way : {"plain", "depth"}) {
    const std::string out = fmt::format("{}/stand{}_{}.tif", folder, stand, way);
    Words words = {"stitch", "--template", folder + "/body.template.yaml", "--level", "--seam", way,
                   "--out",  out};
    words.insert(words.end(), frames.begin(), frames.end());
    const Outcome stitched = run_seamwright(words);
    if (!done(stitched)) throw std::runtime_error(stitched.err);
    const Picture picture = read_tiff(out);
    const Placing placed = placing(picture, room, place);
    const SeamPatches seam = seam_patches(picture, room, place, placed.turn_deg);
    print(stand, way, seam);
    rings.push_back(ring(picture, place, placed.turn_deg));
    if (rings.size() < 2) continue;
    for (const SeamPatch& patch : seam.patches) {
      if (patch.likeness >= 0.93) continue;
      std::printf("  %s at %.0f deg: %.2f\n", patch.likeness < 0.85 ? "broken" : "blemished",
                  patch.around_deg, patch.likeness);
    }
    std::printf("%s", stitched.err.c_str());
  }
  rings.push_back(ring(room.light, place, none));
  write_tiff(fmt::format("{}/stand{}_ring.tif", folder, stand), stacked(rings));
}

}  // namespace

int main(int argc, char** argv) try {
  if (argc != 2) {
    std::fputs("usage: study_hard_room FOLDER\n", stderr);
    return 1;
  }
  const std::string folder = argv[1];
  std::filesystem::create_directories(folder);
  const std::string body = folder + "/body.template.yaml";
  if (!std::filesystem::exists(body)) {
    std::vector<Words> shots;
    for (int stand = 1; stand <= 4; ++stand) shots.push_back(taken(folder, stand));
    learn(shots, body);
  }
  std::puts("| stand | joined | broken % | blemished % | unlike | patches |");
  std::puts("|---|---|---|---|---|---|");
  for (const int stand : {5, 6, 7}) study(folder, stand);
  return 0;
} catch (const std::exception& error) {
  std::fprintf(stderr, "%s\n", error.what());
  return 1;
}
