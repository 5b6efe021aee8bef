#include "jobs/restitch/restitch.h"

#include <utility>

#include <fmt/format.h>

#include "jobs/restitch/former_key.h"
#include "jobs/shot/shot_key.h"
#include "jobs/shot/stitch_shot.h"

namespace seamwright {
namespace fs = std::filesystem;

Restitch::Restitch(RestitchOrder order) : order_(std::move(order)), choice_(order_.templates) {
  std::erase_if(order_.shots, [](const ListedShot& shot) { return !shot.panorama.empty(); });
  leave_out_unusable();
  for (const ListedShot& shot : order_.shots) {
    if (!shot.failure) add(shot);
  }
  for (const ListedShot& shot : order_.shots) {
    if (shot.failure) add_left_out(shot);
  }
}

std::optional<Error> Restitch::nothing_to_do() const { return nothing_left(order_.shots); }

const ShotWishes& Restitch::wishes_of(const ListedShot& shot) const {
  const auto own = order_.exceptions.find(shot.name);
  return own == order_.exceptions.end() ? order_.wishes : own->second;
}

// Shots without a template, and those that would take each other's place.
void Restitch::leave_out_unusable() {
  std::map<std::string, int> stems;
  for (const ListedShot& shot : order_.shots) {
    // The frames of a broken shot file may be here as a shot of their own.
    if (!shot.failure || !shot.files.shot_file.empty()) ++stems[shot.stem()];
  }
  for (ListedShot& shot : order_.shots) {
    if (shot.failure) continue;
    if (const std::string stem = shot.stem(); stems.at(stem) > 1) {
      shot.failure = {.kind = ErrorKind::user_input,
                      .where = shot.name,
                      .field = "inputs",
                      .what = fmt::format("two shots would be written as {}.tif", stem),
                      .remedy = "run them into different output folders"};
    } else if (shot.files.shot_file.empty() && order_.templates.empty()) {
      shot.failure = {.kind = ErrorKind::user_input,
                      .where = shot.name,
                      .field = "template",
                      .what = "is required",
                      .remedy = "give the template of the body; only shot files may name theirs"};
    }
  }
}

// Named as it is, for it is never written, but not as another one.
void Restitch::add_left_out(const ListedShot& shot) {
  ArchiveItem item;
  item.name = shot.name;
  item.failure = shot.failure;
  for (int i = 2; shots_.contains(item.name); ++i) {
    item.name = fmt::format("{} ({})", shot.name, i);
  }
  shots_.emplace(item.name, &shot);
  items_.push_back(std::move(item));
}

void Restitch::add(const ListedShot& shot) {
  const ShotFiles& files = shot.files;
  const ShotWishes& wishes = wishes_of(shot);
  ArchiveItem item;
  item.name = shot.stem();
  item.inputs = files.all();
  if (order_.templates.empty() && files.document.rig_template) {
    item.inputs.push_back(beside_shot_file(files.shot_file, files.document.rig_template->file));
  }
  for (const BodyTemplate& body : order_.templates) item.inputs.push_back(body.file);
  if (!wishes.cover.plate.empty()) item.inputs.push_back(wishes.cover.plate);
  item.settings = shot_key_text(files, wishes) + (order_.jpeg ? "jpeg=true\n" : "");
  item.former_settings = former_key_texts(files, wishes, order_.grouping, order_.jpeg);
  item.outputs.push_back(order_.out / (item.name + ".tif"));
  if (order_.jpeg) item.outputs.push_back(order_.out / (item.name + ".jpg"));
  shots_.emplace(item.name, &shot);
  items_.push_back(std::move(item));
}

Result<const BodyTemplate*> Restitch::template_of(const ListedShot& shot) const {
  {
    const std::scoped_lock lock(choosing_);
    if (const auto known = chosen_.find(shot.name); known != chosen_.end()) return known->second;
  }
  auto body = choice_.of(shot.files);
  if (!body) return body;
  const std::scoped_lock lock(choosing_);
  chosen_.emplace(shot.name, *body);
  return body;
}

Result<Shot> Restitch::open(const std::string& item_name) const {
  const ListedShot& shot = *shots_.at(item_name);
  if (shot.failure) return fail(*shot.failure);
  const OpenOptions options{.wishes = wishes_of(shot)};
  if (order_.templates.empty()) return open_shot(shot.files, options);
  const auto body = template_of(shot);
  if (!body) return tl::unexpected(body.error());
  return open_shot(shot.files, **body, options);
}

Result<std::vector<std::string>> Restitch::stitch(const ArchiveItem& item,
                                                  const ProgressFn& progress) const {
  const auto shot = open(item.name);
  if (!shot) return tl::unexpected(shot.error());
  // Tried twice as every piece is, a shot that was refused is not read twice.
  if (const auto known = day_fit_.of(item.name);
      known && known->verdict == FitVerdict::refused && !shot->wishes.anyway) {
    return fail(refusal_of(*known, shot->name()));
  }
  StitchFiles files{.out = item.outputs.front()};
  if (order_.jpeg) files.jpeg = item.outputs.back();
  auto report = stitch_shot(*shot, files, progress,
                            [&](const ShotFit& fit) { day_fit_.take(item.name, fit); });
  if (!report) return tl::unexpected(report.error());
  {
    const std::scoped_lock lock(noting_);
    notes_[item.name] = report->notes;
  }
  return std::move(report->findings);
}

std::vector<std::string> Restitch::notes_of(const std::string& item_name) const {
  const std::scoped_lock lock(noting_);
  const auto known = notes_.find(item_name);
  return known == notes_.end() ? std::vector<std::string>() : known->second;
}

}  // namespace seamwright
