#include "apps/cli/check_page.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include <fmt/format.h>

#include "apps/report/chart.h"
#include "apps/report/markup.h"
#include "apps/report/style.h"
#include "base/base64.h"
#include "compose/finish/flat_view.h"
#include "compose/render/render.h"
#include "imaging/convert.h"
#include "imaging/write_image.h"

namespace seamwright {

namespace {

using report::escaped;
using report::paragraph;

constexpr std::string_view kOwnStyle = R"css(
.found { display: grid; grid-template-columns: minmax(0, 20rem) 1fr; gap: 1rem 1.5rem; margin: 1rem 0; }
.found img { width: 100%; height: auto; display: block; border-radius: .3rem; }
@media (max-width: 40rem) { .found { grid-template-columns: 1fr; } }
)css";

constexpr double kField_deg = 30;
constexpr int kPicture_px = 480;
constexpr int kPanorama_px = 4096;

/// Looks along a direction, the horizon level.
FlatView view_along(const Vec3& ahead) {
  const Vec3 down = std::abs(ahead.y()) > 0.99 ? Vec3::UnitZ() : Vec3::UnitY();
  const Vec3 right = down.cross(ahead).normalized();
  FlatView view;
  view.sphere_from_view << right, ahead.cross(right), ahead;
  view.half_width = std::tan(0.5 * rad_from_deg(kField_deg));
  view.size_px = kPicture_px;
  return view;
}

std::string summary(const std::vector<Checked>& all) {
  std::vector<std::vector<std::string>> rows;
  for (const Checked& one : all) {
    std::string why = one.failure.empty() ? "" : "could not be checked";
    for (const Finding& finding : one.found.findings) {
      why += fmt::format("{}{}", why.empty() ? "" : ", ", name_of(finding.kind));
    }
    std::replace(why.begin(), why.end(), '_', ' ');
    rows.push_back({one.found.name,
                    one.failure.empty() ? fmt::format("{:.1f}", one.found.score_px()) : "–",
                    why.empty() ? "nothing found" : why});
  }
  return report::table(
      "Worst first. The score says how much the worst finding bothers, as pixels of misalignment "
      "at "
      "the seam of a panorama of native width.",
      {"shot", "score", "why"}, rows, 3);
}

std::string sentence(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 32);
  return text;
}

/// In parallax and sideways around each pair's ring, where something is misaligned.
std::string ring_charts(const Checked& one) {
  const bool shown =
      std::any_of(one.found.findings.begin(), one.found.findings.end(),
                  [](const Finding& finding) { return finding.kind == FindingKind::misaligned; });
  if (!shown || !one.shot) return {};
  std::map<std::pair<int, int>, std::vector<report::Series>> pairs;
  double most = 1;
  for (const RingPlace& place : one.shot->ring.places) {
    auto& series = pairs[{place.lens_a, place.lens_b}];
    if (series.empty()) series = {{"parallax", 0, {}, {}}, {"sideways", 2, {}, {}}};
    const double azimuth_deg = deg_from_rad(place.psi_rad);
    series[0].points.emplace_back(azimuth_deg, place.parallax_px);
    series[1].points.emplace_back(azimuth_deg, place.sideways_px);
    series[0].sigma.push_back(place.sigma_px);
    most = std::max({most, std::abs(place.parallax_px), std::abs(place.sideways_px)});
  }
  std::string charts;
  for (const auto& [pair, series] : pairs) {
    const std::string told = fmt::format(
        "Misalignment around the ring of lenses {} and {}, px of native width; the band is one "
        "standard deviation",
        pair.first, pair.second);
    charts += report::figure(
        report::line_chart(told,
                           {.label = "azimuth on the ring, degrees", .low = -180, .high = 180},
                           {.label = "px", .low = -1.1 * most, .high = 1.1 * most}, series),
        told);
  }
  return charts;
}

/// A finding, beside the picture of its place where there is one.
std::string reason(const Finding& finding, const std::string& picture) {
  std::string words =
      fmt::format("<p><strong>{}.</strong> {}.</p>\n", escaped(sentence(finding.words)),
                  escaped(sentence(finding.remedy)));
  if (picture.empty() || !finding.place) return words;
  const std::string told =
      fmt::format("Longitude {:.0f}°, latitude {:.0f}°, {:.0f}° wide, stitched plainly",
                  deg_from_rad(finding.place->longitude_rad),
                  deg_from_rad(finding.place->latitude_rad), kField_deg);
  return fmt::format(
      "<div class=\"found\">\n<figure><img alt=\"{}\" src=\"data:image/jpeg;base64,{}\"/>"
      "<figcaption>{}</figcaption></figure>\n<div>{}</div></div>\n",
      told, base64(picture), told, words);
}

std::string reasons(const Checked& one) {
  std::string body;
  if (!one.failure.empty()) body += paragraph(escaped(one.failure));
  for (std::size_t i = 0; i < one.found.findings.size(); ++i) {
    body += reason(one.found.findings[i], i < one.pictures.size() ? one.pictures[i] : "");
  }
  return body + ring_charts(one);
}

}  // namespace

std::vector<std::string> pictures_of_places(const Rig& rig, std::span<const Frame> frames,
                                            const ShotFindings& found) {
  constexpr int kQuality = 85;
  constexpr int kMostPictures = 4;
  std::vector<std::string> pictures(found.findings.size());
  const auto has_place = [](const Finding& finding) { return finding.place.has_value(); };
  if (std::none_of(found.findings.begin(), found.findings.end(), has_place)) return pictures;
  RenderOptions render;
  render.width_px = std::min(
      kPanorama_px, native_width(rig.scaled_to(frames[0].image.width(), frames[0].image.height())));
  const auto panorama = render_panorama(rig, frames, render);
  if (!panorama) return pictures;
  const WrappedPanorama wrapped(panorama->image);
  int taken = 0;
  for (std::size_t i = 0; i < pictures.size() && taken < kMostPictures; ++i) {
    const Finding& finding = found.findings[i];
    if (!finding.place) continue;
    const Image view = render_flat_view(wrapped, view_along(finding.place->direction()));
    pictures[i] = jpeg_bytes(to_type(view, SampleType::u8), kQuality);
    ++taken;
  }
  return pictures;
}

std::string check_page(const std::vector<Checked>& all) {
  const auto bad =
      std::count_if(all.begin(), all.end(), [](const Checked& one) { return !nothing_wrong(one); });
  std::string body = "<h1>What to look at before the client does</h1>\n";
  body += fmt::format(
      "<div class=\"summary{}\"><p><strong>{}</strong></p></div>\n", bad == 0 ? "" : " noted",
      bad == 0 ? fmt::format("Nothing found in {} shots.", all.size())
               : fmt::format("{} of {} shots have something to look at.", bad, all.size()));
  body += summary(all);
  for (const Checked& one : all) {
    if (nothing_wrong(one)) continue;
    body += report::section(one.found.name, reasons(one));
  }
  return report::page("Checked shots", std::string(report::style_sheet()) + std::string(kOwnStyle),
                      body);
}

}  // namespace seamwright
