#include "jobs/restitch/restitch_items.h"

#include <filesystem>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "jobs/restitch/former_key.h"
#include "jobs/shot/shot_key.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

using OutputOwners = std::map<fs::path, std::string>;  // by output, the name of its piece

Result<std::string> output_name_of(const RestitchOrder& order, const ListedShot& shot) {
  NameParts parts{.name = shot.stem(), .time = {}, .body = {}};
  if (const auto said = order.parts.find(shot.name); said != order.parts.end()) {
    parts.time = said->second.time;
    parts.body = said->second.body;
  }
  return output_name(order.delivery.names, parts);
}

// "hall" with a JPEG of 512 px and "hall-512" would take each other's file.
void refuse_shared_outputs(OutputOwners& taken, ArchiveItem& item) {
  for (const fs::path& output : item.outputs) {
    const auto [other, is_new] = taken.emplace(output, item.name);
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
void add_outputs(const RestitchOrder& order, const ListedShot& shot, ArchiveItem& item) {
  const Delivery& delivery = order.delivery;
  const fs::path panorama = order.out / (output_name_of(order, shot).value_or(item.name) + ".tif");
  item.outputs.push_back(panorama);
  if (order.jpeg) item.outputs.push_back(fs::path(panorama).replace_extension(".jpg"));
  if (!delivery.light.empty() && shot.files.bracketed()) {
    item.outputs.push_back(light_file(delivery, panorama));
  }
  for (const fs::path& file : known_files(delivery, panorama)) item.outputs.push_back(file);
  if (!delivery.faces && !delivery.tiles) return;
  item.further_outputs = [delivery, panorama] { return further_files(delivery, panorama); };
}

void add_inputs(const RestitchOrder& order, const ListedShot& shot, ArchiveItem& item) {
  const ShotFiles& files = shot.files;
  item.inputs = files.all();
  if (const BodyTemplate* own = own_template_of(order, shot)) {
    item.inputs.push_back(own->file);
  } else if (order.templates.empty() && files.document.rig_template) {
    item.inputs.push_back(beside_shot_file(files.shot_file, files.document.rig_template->file));
  } else {
    for (const BodyTemplate& body : order.templates) item.inputs.push_back(body.file);
  }
  const fs::path& plate = wishes_of(order, shot).cover.plate;
  if (!plate.empty()) item.inputs.push_back(plate);
}

ArchiveItem item_of(const RestitchOrder& order, const ListedShot& shot) {
  ArchiveItem item;
  item.name = shot.stem();
  add_inputs(order, shot, item);
  put_settings(order, shot, item);
  add_outputs(order, shot, item);
  return item;
}

}  // namespace

const ShotWishes& wishes_of(const RestitchOrder& order, const ListedShot& shot) {
  const auto own = order.exceptions.find(shot.name);
  return own == order.exceptions.end() ? order.wishes : own->second;
}

const BodyTemplate* own_template_of(const RestitchOrder& order, const ListedShot& shot) {
  const auto own = order.body_of.find(shot.name);
  return own == order.body_of.end() ? nullptr : &order.own_templates[own->second];
}

void leave_out_unusable(RestitchOrder& order) {
  std::map<std::string, int> stems;
  for (const ListedShot& shot : order.shots) {
    // The frames of a broken shot file may be here as a shot of their own.
    if (shot.failure && shot.files.shot_file.empty()) continue;
    if (const auto name = output_name_of(order, shot)) ++stems[*name];
  }
  for (ListedShot& shot : order.shots) {
    if (shot.failure) continue;
    const auto name = output_name_of(order, shot);
    if (!name) {
      shot.failure = name.error();
    } else if (stems.at(*name) > 1) {
      shot.failure = {.kind = ErrorKind::user_input,
                      .where = shot.name,
                      .field = "inputs",
                      .what = fmt::format("two shots would be written as {}.tif", *name),
                      .remedy = "run them into different output folders"};
    } else if (shot.files.shot_file.empty() && order.templates.empty() &&
               own_template_of(order, shot) == nullptr) {
      shot.failure = {.kind = ErrorKind::user_input,
                      .where = shot.name,
                      .field = "template",
                      .what = "is required",
                      .remedy = "give the template of the body; only shot files may name theirs"};
    }
  }
}

void put_settings(const RestitchOrder& order, const ListedShot& shot, ArchiveItem& item) {
  const ShotWishes& wishes = wishes_of(order, shot);
  const std::string delivered = text_of(order.delivery);
  item.settings = shot_key_text(shot.files, wishes) + (order.jpeg ? "jpeg=true\n" : "") + delivered;
  item.former_settings.clear();
  if (delivered.empty()) {
    item.former_settings = former_key_texts(shot.files, wishes, order.grouping, order.jpeg);
  }
}

std::vector<RestitchPiece> pieces_of(const RestitchOrder& order) {
  std::vector<RestitchPiece> pieces;
  OutputOwners taken;
  std::set<std::string> names;
  for (const ListedShot& shot : order.shots) {
    if (shot.failure) continue;
    pieces.push_back({item_of(order, shot), &shot});
    refuse_shared_outputs(taken, pieces.back().item);
    names.insert(pieces.back().item.name);
  }
  // Named as they are, for they are never written, but not as another one.
  for (const ListedShot& shot : order.shots) {
    if (!shot.failure) continue;
    ArchiveItem item;
    item.name =
        free_item_name(shot.name, [&](const std::string& name) { return names.contains(name); });
    item.failure = shot.failure;
    names.insert(item.name);
    pieces.push_back({std::move(item), &shot});
  }
  return pieces;
}

}  // namespace seamwright
