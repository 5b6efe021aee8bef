#include "apps/cli/check_run.h"

#include <utility>

#include "apps/cli/check_page.h"
#include "jobs/check/opened_check.h"
#include "jobs/check/panorama_check.h"

namespace seamwright {

namespace {

Result<Checked> checked_shot(const std::string& name, const Shot& shot,
                             const CheckRunOptions& options, const Console& console) {
  const auto pictures = read_pictures(shot, Exposures::middle, console.progress());
  if (!pictures) return tl::unexpected(pictures.error());
  auto checked = check_shot(name, shot, *pictures, options.check, console.progress());
  if (!checked) return tl::unexpected(checked.error());
  Checked result{.found = checked->found};
  add_told(options.told, result.found);
  if (options.pictures) {
    result.pictures = pictures_of_places(pictures->rig, pictures->frames, result.found);
  }
  result.shot = std::move(*checked);
  return result;
}

Checked in_words(Checked checked, const Console& console) {
  for (Finding& finding : checked.found.findings) {
    finding.remedy = console.in_words(std::move(finding.remedy));
  }
  checked.failure = console.in_words(std::move(checked.failure));
  return checked;
}

Result<Checked> checked_or_failed(const std::string& name, Result<Checked> checked,
                                  const Console& console) {
  if (checked) return in_words(std::move(*checked), console);
  if (checked.error().kind == ErrorKind::cancelled) return checked;
  return in_words(failed_check(name, checked.error()), console);
}

}  // namespace

Checked failed_check(const std::string& name, const Error& error) {
  return {.found = {.name = name, .findings = {}}, .failure = error.line()};
}

Result<Checked> check_opened(const std::string& name, const Result<Shot>& shot,
                             const CheckRunOptions& options, const Console& console) {
  if (!shot) return checked_or_failed(name, tl::unexpected(shot.error()), console);
  return checked_or_failed(name, checked_shot(name, *shot, options, console), console);
}

Result<Checked> check_finished(const ListedShot& panorama, const Console& console) {
  auto found = check_panorama(panorama.panorama);
  if (!found) return checked_or_failed(panorama.name, tl::unexpected(found.error()), console);
  return in_words({.found = std::move(*found)}, console);
}

}  // namespace seamwright
