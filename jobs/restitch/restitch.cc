#include "jobs/restitch/restitch.h"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "jobs/restitch/former_key.h"
#include "jobs/restitch/shots_at_once.h"
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

// Null where the shot has none of its own.
const BodyTemplate* Restitch::own_template_of(const ListedShot& shot) const {
  const auto own = order_.body_of.find(shot.name);
  return own == order_.body_of.end() ? nullptr : &order_.own_templates[own->second];
}

Result<std::string> Restitch::output_name_of(const ListedShot& shot) const {
  NameParts parts{.name = shot.stem(), .time = {}, .body = {}};
  if (const auto said = order_.parts.find(shot.name); said != order_.parts.end()) {
    parts.time = said->second.time;
    parts.body = said->second.body;
  }
  return output_name(order_.delivery.names, parts);
}

// Shots without a template, and those that would take each other's place.
void Restitch::leave_out_unusable() {
  std::map<std::string, int> stems;
  for (const ListedShot& shot : order_.shots) {
    // The frames of a broken shot file may be here as a shot of their own.
    if (shot.failure && shot.files.shot_file.empty()) continue;
    if (const auto name = output_name_of(shot)) ++stems[*name];
  }
  for (ListedShot& shot : order_.shots) {
    if (shot.failure) continue;
    const auto name = output_name_of(shot);
    if (!name) {
      shot.failure = name.error();
    } else if (stems.at(*name) > 1) {
      shot.failure = {.kind = ErrorKind::user_input,
                      .where = shot.name,
                      .field = "inputs",
                      .what = fmt::format("two shots would be written as {}.tif", *name),
                      .remedy = "run them into different output folders"};
    } else if (shot.files.shot_file.empty() && order_.templates.empty() &&
               own_template_of(shot) == nullptr) {
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
  item.name =
      free_item_name(shot.name, [this](const std::string& name) { return shots_.contains(name); });
  item.failure = shot.failure;
  shots_.emplace(item.name, &shot);
  items_.push_back(std::move(item));
}

void Restitch::add(const ListedShot& shot) {
  const ShotFiles& files = shot.files;
  const ShotWishes& wishes = wishes_of(shot);
  ArchiveItem item;
  item.name = shot.stem();
  item.inputs = files.all();
  if (const BodyTemplate* own = own_template_of(shot)) {
    item.inputs.push_back(own->file);
  } else if (order_.templates.empty() && files.document.rig_template) {
    item.inputs.push_back(beside_shot_file(files.shot_file, files.document.rig_template->file));
  } else {
    for (const BodyTemplate& body : order_.templates) item.inputs.push_back(body.file);
  }
  if (!wishes.cover.plate.empty()) item.inputs.push_back(wishes.cover.plate);
  put_settings(shot, item);
  add_outputs(shot, item);
  refuse_shared_outputs(item);
  shots_.emplace(item.name, &shot);
  items_.push_back(std::move(item));
}

void Restitch::put_settings(const ListedShot& shot, ArchiveItem& item) const {
  const ShotWishes& wishes = wishes_of(shot);
  const std::string delivered = text_of(order_.delivery);
  item.settings =
      shot_key_text(shot.files, wishes) + (order_.jpeg ? "jpeg=true\n" : "") + delivered;
  item.former_settings.clear();
  if (delivered.empty()) {
    item.former_settings = former_key_texts(shot.files, wishes, order_.grouping, order_.jpeg);
  }
}

std::vector<UndecidedLook> Restitch::undecided_looks() const {
  std::vector<UndecidedLook> looks;
  for (std::size_t at = 0; at < items_.size(); ++at) {
    const ListedShot& shot = *shots_.at(items_[at].name);
    const LookWish& wish = wishes_of(shot).look;
    if (items_[at].failure || wish.match != LookMatch::run) continue;
    looks.push_back({.at = at, .wish = wish, .bracketed = shot.files.bracketed()});
  }
  return looks;
}

void Restitch::set_look(std::size_t at, const DisplayLook& look) {
  ArchiveItem& item = items_[at];
  const ListedShot& shot = *shots_.at(item.name);
  ShotWishes wishes = wishes_of(shot);
  wishes.look.by_run = look;
  order_.exceptions.insert_or_assign(shot.name, std::move(wishes));
  put_settings(shot, item);
}

// "hall" with a JPEG of 512 px and "hall-512" would take each other's file.
void Restitch::refuse_shared_outputs(ArchiveItem& item) {
  for (const fs::path& output : item.outputs) {
    const auto [other, is_new] = taken_.emplace(output, item.name);
    if (is_new || item.failure) continue;
    item.failure = {.kind = ErrorKind::user_input,
                    .where = item.name,
                    .field = "name",
                    .what = fmt::format("{} would be a file of {} as well",
                                        output.filename().string(), other->second),
                    .remedy = "rename one of the two"};
  }
}

// The panorama first, then its JPEG, its light and what is made of the finished panorama.
void Restitch::add_outputs(const ListedShot& shot, ArchiveItem& item) const {
  const Delivery& delivery = order_.delivery;
  const fs::path panorama = order_.out / (output_name_of(shot).value_or(item.name) + ".tif");
  item.outputs.push_back(panorama);
  if (order_.jpeg) item.outputs.push_back(fs::path(panorama).replace_extension(".jpg"));
  if (!delivery.light.empty() && shot.files.bracketed()) {
    item.outputs.push_back(light_file(delivery, panorama));
  }
  for (const fs::path& file : known_files(delivery, panorama)) item.outputs.push_back(file);
  if (!delivery.faces && !delivery.tiles) return;
  item.further_outputs = [delivery, panorama] { return further_files(delivery, panorama); };
}

Result<const BodyTemplate*> Restitch::template_of(const ListedShot& shot) const {
  if (const BodyTemplate* own = own_template_of(shot)) return own;
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

double Restitch::largest_shot_gib() const {
  const Delivery& delivery = order_.delivery;
  const bool whole =
      delivery.exr || delivery.faces || delivery.tiles || !delivery.more_jpegs.empty();
  double largest = 0;
  for (const auto& [name, shot] : shots_) {
    if (shot->failure) continue;
    largest = std::max(largest, memory_gib_of(shot->files, wishes_of(*shot), whole));
  }
  return largest;
}

Result<Shot> Restitch::open(const std::string& item_name, OldTouch old_touch) const {
  const ListedShot& shot = *shots_.at(item_name);
  if (shot.failure) return fail(*shot.failure);
  const OpenOptions options{.wishes = wishes_of(shot), .old_touch = old_touch};
  if (order_.templates.empty() && own_template_of(shot) == nullptr) {
    return open_shot(shot.files, options);
  }
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
  if (order_.jpeg) files.jpeg = fs::path(files.out).replace_extension(".jpg");
  if (!order_.delivery.light.empty() && shot->files.bracketed()) {
    files.light = light_file(order_.delivery, files.out);
  }
  auto report = stitch_shot(*shot, files, progress,
                            [&](const ShotFit& fit) { day_fit_.take(item.name, fit); });
  if (!report) return tl::unexpected(report.error());
  if (auto done = deliver_rest(order_.delivery, files.out, progress); !done) {
    return tl::unexpected(done.error());
  }
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
