#include "apps/workbench/check_job.h"

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <tuple>

#include "apps/workbench/ring_picture.h"
#include "compose/render/preview.h"
#include "imaging/write_image.h"
#include "jobs/check/opened_check.h"

namespace seamwright::workbench {

namespace {

using nlohmann::json;

constexpr int kPictureWidth_px = 320;
constexpr int kPictureHeight_px = 192;
constexpr int kPictureQuality = 80;
constexpr double kPlaceField_deg = 30;
constexpr double kWholeField_deg = 90;

// The worst finding's place; without one, what lens 0 looks at.
std::string picture_of(const OpenedShot& opened, const ShotFindings& found) {
  Preview look{
      .field_deg = kWholeField_deg, .width_px = kPictureWidth_px, .height_px = kPictureHeight_px};
  for (const Finding& finding : found.findings) {
    if (!finding.place) continue;
    look.middle = *finding.place;
    look.field_deg = kPlaceField_deg;
    break;
  }
  const ShotPictures& pictures = opened.pictures;
  const auto picture =
      render_preview(pictures.rig, pictures.frames, gains_of(pictures).gains, look);
  return picture ? jpeg_bytes(*picture, kPictureQuality) : std::string();
}

CheckedShot failed_check(const ShotEntry& entry, const Error& error) {
  return {.found = {.name = entry.name, .findings = {}}, .failure = error.line(), .picture = {}};
}

}  // namespace

Result<CheckedShot> checked(const ShotEntry& entry, const OpenShotFn& open_shot,
                            const ProgressFn& progress) {
  if (!tell(progress, "reading", 0)) return fail(stopped_while("checking"));
  auto opened = open_shot(entry);
  if (!opened) return failed_check(entry, opened.error());
  const auto check = check_shot(entry.name, opened->shot, opened->pictures, {}, progress);
  if (!check) {
    if (check.error().kind == ErrorKind::cancelled) return tl::unexpected(check.error());
    return failed_check(entry, check.error());
  }
  if (!tell(progress, "taking a picture", 0)) return fail(stopped_while("checking"));
  return CheckedShot{
      .found = check->found, .failure = {}, .picture = picture_of(*opened, check->found)};
}

CheckJob::~CheckJob() {
  cancel();
  const std::lock_guard lock(starting_);
  if (thread_.joinable()) thread_.join();
}

void CheckJob::start() {
  const std::lock_guard starting(starting_);
  {
    const std::lock_guard lock(mutex_);
    if (state_ == "working" && !stop_) return;
  }
  if (thread_.joinable()) thread_.join();
  stop_ = false;
  {
    const std::lock_guard lock(mutex_);
    state_ = "working";
    stage_.clear();
    ++change_;
  }
  thread_ = std::thread([this] { run(); });
}

void CheckJob::cancel() { stop_ = true; }

void CheckJob::forget(int shot) {
  const std::lock_guard lock(mutex_);
  results_.erase(shot);
  if (at_ == shot) stale_ = true;
  ++change_;
  changed_.notify_all();
}

// The first shot that nothing is known of; what there is none of ends the work.
std::optional<int> CheckJob::next() {
  const std::lock_guard lock(mutex_);
  at_ = -1;
  for (int i = 0; i < static_cast<int>(shots_.size()) && !stop_; ++i) {
    if (results_.count(i) > 0) continue;
    at_ = i;
    stale_ = false;
    return i;
  }
  // Said under the same lock, so that a start() from now on begins anew.
  state_ = stop_ ? "cancelled" : "done";
  ++change_;
  changed_.notify_all();
  return std::nullopt;
}

void CheckJob::run() {
  while (const auto shot = next()) {
    auto one = checked(shots_[static_cast<std::size_t>(*shot)], open_shot_,
                       [this](const Progress& progress) { return tell(progress); });
    if (one) put(*shot, std::move(*one));
  }
}

void CheckJob::put(int shot, CheckedShot checked) {
  const std::lock_guard lock(mutex_);
  if (!stale_) results_[shot] = std::move(checked);
  ++change_;
  changed_.notify_all();
}

bool CheckJob::tell(const Progress& progress) {
  const std::lock_guard lock(mutex_);
  if (stage_ != progress.stage) {
    stage_ = progress.stage;
    ++change_;
    changed_.notify_all();
  }
  return !stop_;
}

json CheckJob::status() const {
  const std::lock_guard lock(mutex_);
  json status = {{"state", state_},
                 {"shot", nullptr},
                 {"name", ""},
                 {"stage", stage_},
                 {"checked", results_.size()},
                 {"count", shots_.size()}};
  if (at_ >= 0) {
    status["shot"] = at_;
    status["name"] = shots_[static_cast<std::size_t>(at_)].name;
  }
  return status;
}

int CheckJob::wait(int seen, int most_ms) const {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, std::chrono::milliseconds(most_ms), [&] { return change_ != seen; });
  return change_;
}

json CheckJob::result(int shot) const {
  const std::lock_guard lock(mutex_);
  const auto known = results_.find(shot);
  if (known == results_.end()) return nullptr;
  json findings = json::array();
  for (const Finding& finding : known->second.found.findings) {
    findings.push_back(
        {{"kind", name_of(finding.kind)}, {"words", finding.words}, {"remedy", finding.remedy}});
  }
  return {{"score_px", known->second.found.score_px()},
          {"findings", std::move(findings)},
          {"failure", known->second.failure}};
}

std::string CheckJob::picture(int shot) const {
  const std::lock_guard lock(mutex_);
  const auto known = results_.find(shot);
  return known == results_.end() ? std::string() : known->second.picture;
}

std::vector<int> CheckJob::order() const {
  const std::lock_guard lock(mutex_);
  std::vector<int> order;
  for (int i = 0; i < static_cast<int>(shots_.size()); ++i) order.push_back(i);
  const auto key = [this](int shot) {
    const auto known = results_.find(shot);
    if (known == results_.end()) return std::tuple(2, 0.0);
    if (!known->second.failure.empty()) return std::tuple(0, 0.0);
    return std::tuple(1, -known->second.found.score_px());
  };
  std::stable_sort(order.begin(), order.end(), [&](int a, int b) { return key(a) < key(b); });
  return order;
}

}  // namespace seamwright::workbench
