#include "apps/cli/contact_page.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "apps/report/markup.h"
#include "apps/report/style.h"
#include "base/base64.h"
#include "imaging/convert.h"
#include "imaging/resize.h"
#include "imaging/write_image.h"

namespace seamwright {

namespace {

constexpr std::string_view kContactStyle = R"css(
.contacts { display: grid; grid-template-columns: repeat(auto-fill, minmax(20rem, 1fr)); gap: 1.2rem; padding: 0; list-style: none; }
.contacts li { background: var(--card); border-radius: .3rem; padding: .7rem; min-width: 0; }
.contacts div { display: flex; gap: .3rem; }
.contacts img { flex: 1 1 0; min-width: 0; height: auto; border-radius: .2rem; }
.contacts p { margin: .3rem 0 0; overflow-wrap: anywhere; }
.contacts .odd { color: var(--poor); }
)css";

constexpr int kThumbnail_px = 200;
constexpr int kThumbnailQuality = 80;

std::string thumbnail(const Image& image, const std::string& told) {
  const int width = std::min(kThumbnail_px, image.width());
  const int height = std::max(1, width * image.height() / image.width());
  const Image small = to_type(resized(image, width, height, Borders::repeat), SampleType::u8);
  return fmt::format(
      "<img alt=\"{}\" width=\"{}\" height=\"{}\" src=\"data:image/jpeg;base64,{}\"/>",
      report::escaped(told), width, height, base64(jpeg_bytes(small, kThumbnailQuality)));
}

std::string thumbnails(const ImportedShot& shot) {
  const auto frames = read_shot(shot.files.frames, shot.files.intake);
  if (!frames) return {};
  std::string pictures;
  for (std::size_t lens = 0; lens < frames->size(); ++lens) {
    pictures += thumbnail((*frames)[lens].image, fmt::format("{}, lens {}", shot.name, lens));
  }
  return "<div>" + pictures + "</div>\n";
}

std::string words_of(const ImportedShot& shot) {
  std::string words = shot.time.empty() ? "time unknown" : shot.time;
  if (!shot.body.empty()) words += " · " + shot.body;
  if (!shot.steps.empty()) words += " · " + shot.steps + " EV";
  if (shot.skipped) words += " · left out";
  return words;
}

std::string card_of(const ImportedShot& shot) {
  std::string text = fmt::format("<li>{}<p><strong>{}</strong>{}</p>\n<p>{}</p>\n",
                                 thumbnails(shot), report::escaped(shot.name),
                                 shot.is_new ? " · new" : "", report::escaped(words_of(shot)));
  for (const std::string& odd : shot.odd) {
    text += fmt::format("<p class=\"odd\">{}</p>\n", report::escaped(odd));
  }
  return text + "</li>\n";
}

std::string notes_of(const ImportReport& report) {
  if (report.odd.empty()) return {};
  std::string list;
  for (const CardNote& note : report.odd) {
    list += fmt::format("<li><strong>{}</strong>: {}</li>\n", report::escaped(note.about),
                        report::escaped(note.words));
  }
  return report::section("Not in the run", "<ul>\n" + list + "</ul>\n");
}

}  // namespace

std::string contact_page(const ImportReport& report, const ProgressFn& progress) {
  std::string shots;
  for (std::size_t i = 0; i < report.shots.size(); ++i) {
    static_cast<void>(tell(progress, "drawing the page",
                           static_cast<double>(i) / static_cast<double>(report.shots.size())));
    shots += card_of(report.shots[i]);
  }
  std::string body = "<h1>What was taken</h1>\n";
  body += fmt::format(
      "<div class=\"summary{}\"><p><strong>{} shots</strong>, {} of them or of the "
      "other pictures odd.</p></div>\n",
      report.clean() ? "" : " noted", report.shots.size(),
      report.odd.size() + static_cast<std::size_t>(
                              std::count_if(report.shots.begin(), report.shots.end(),
                                            [](const auto& shot) { return !shot.odd.empty(); })));
  body += "<ul class=\"contacts\">\n" + shots + "</ul>\n" + notes_of(report);
  return report::page("Contact page",
                      std::string(report::style_sheet()) + std::string(kContactStyle), body);
}

}  // namespace seamwright
