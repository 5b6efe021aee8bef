#include "jobs/finishing/finish_many.h"

#include <iterator>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/folder_of.h"
#include "base/user_error.h"
#include "imaging/read_image.h"
#include "jobs/restitch/open_run.h"
#include "jobs/restitch/run_panoramas.h"
#include "jobs/shot/shot_key.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Result<std::vector<ListedShot>> panoramas_of_run(const fs::path& run_file,
                                                 const ProgressFn& progress) {
  auto order = open_run_file(run_file, progress);
  if (!order) return tl::unexpected(order.error());
  std::vector<ListedShot> panoramas;
  for (const RunPanorama& made : run_panoramas(std::move(*order))) {
    if (made.failure) {
      panoramas.push_back(failed_shot(made.name, *made.failure));
      continue;
    }
    ListedShot panorama;
    panorama.name = made.name;
    panorama.panorama = made.file;
    panoramas.push_back(std::move(panorama));
  }
  return panoramas;
}

// Everything of a wish that decides bytes and is no file. The list of its members is complete: one
// that is added does not compile.
std::string text_of(const FinishWish& wish) {
  const auto& [mirrored, glow_removal, turn, floor_in, floor_field_deg, cover, keep_location] =
      wish;
  static_cast<void>(floor_in);
  std::string text = text_of(ShotWishes{
      .glow_removal = glow_removal, .level = turn, .cover = cover, .keep_location = keep_location});
  if (mirrored) text += "mirrored=true\n";
  if (floor_field_deg != kFloorField_deg) text += fmt::format("floor_field={}\n", floor_field_deg);
  return text;
}

std::string text_of(const Deliverables& wanted) {
  const auto& [picture, jpeg, exr, faces, tiles, compression, quality, width_px, kept, cube] =
      wanted;
  for (const fs::path* name : {&picture, &jpeg, &exr, &faces, &tiles}) static_cast<void>(name);
  return text_of(ShotWishes{
             .compression = compression, .jpeg_quality = quality, .jpeg_width_px = width_px}) +
         fmt::format("latitudes={} {}\ncube={} {} {}\n", kept.low_deg, kept.high_deg, cube.face_px,
                     cube.tile_px, cube.jpeg_quality);
}

}  // namespace

Result<PanoramaList> list_panoramas_and_runs(const std::vector<fs::path>& inputs,
                                             const ProgressFn& progress) {
  const SplitInputs split = split_inputs(inputs);
  PanoramaList list = list_panoramas(split.rest);
  for (const fs::path& input : split.run_files) {
    auto panoramas = panoramas_of_run(input, progress);
    if (!panoramas && panoramas.error().kind == ErrorKind::cancelled) {
      return tl::unexpected(panoramas.error());
    }
    if (!panoramas) {
      list.panoramas.push_back(failed_shot(input.string(), panoramas.error()));
      continue;
    }
    list.panoramas.insert(list.panoramas.end(), std::make_move_iterator(panoramas->begin()),
                          std::make_move_iterator(panoramas->end()));
  }
  return list;
}

FinishMany::FinishMany(FinishOrder order) : order_(std::move(order)) {
  std::map<std::string, int> names;
  for (const ListedShot& panorama : order_.panoramas) {
    if (!panorama.failure) ++names[panorama.name];
  }
  for (ListedShot& panorama : order_.panoramas) {
    if (!panorama.failure && names.at(panorama.name) > 1) {
      panorama.failure =
          user_error(panorama.panorama.string(), {},
                     fmt::format("two panoramas would be written as {}", panorama.name),
                     "finish them into different folders");
    }
    if (!panorama.failure) add(panorama);
  }
  for (const ListedShot& panorama : order_.panoramas) {
    if (panorama.failure) add_left_out(panorama);
  }
}

std::optional<Error> FinishMany::refused() const {
  if (auto error = order_.wish.validate()) return error;
  for (const ListedShot& panorama : order_.panoramas) {
    if (panorama.panorama.empty() || !lies_in(panorama.panorama, order_.out)) continue;
    return user_error(order_.out.string(), "into", "holds the panoramas themselves",
                      "give another folder");
  }
  return nothing_left(order_.panoramas);
}

FinishFiles FinishMany::files_of(const std::string& name) const {
  FinishFiles files{.wanted = order_.wanted};
  const auto place = [&](const char* kind, const char* ending) {
    return order_.kinds.contains(kind) ? order_.out / (name + ending) : fs::path();
  };
  files.wanted.picture = place("tif", ".tif");
  files.wanted.jpeg = place("jpeg", ".jpg");
  files.wanted.exr = place("exr", ".exr");
  files.wanted.faces = place("faces", "-faces");
  files.wanted.tiles = place("tiles", "-tiles");
  files.floor_out = place("floor", "-floor.tif");
  return files;
}

FinishWish FinishMany::wish_of(const std::string& name) const {
  FinishWish wish = order_.wish;
  if (order_.floors.empty()) return wish;
  std::error_code code;
  const fs::path floor = order_.floors / (name + "-floor.tif");
  if (fs::exists(floor, code)) wish.floor_in = floor;
  return wish;
}

std::string FinishMany::settings() const {
  std::string text = fmt::format("seamwright {} finish\n", SEAMWRIGHT_VERSION);
  text += text_of(order_.wish) + text_of(order_.wanted);
  for (const std::string& kind : order_.kinds) text += fmt::format("write={}\n", kind);
  return text;
}

void FinishMany::add(const ListedShot& panorama) {
  ArchiveItem item;
  item.name = panorama.name;
  item.settings = settings();
  item.inputs = {panorama.panorama};
  const FinishWish wish = wish_of(item.name);
  for (const fs::path& more : {wish.floor_in, wish.cover.plate}) {
    if (!more.empty()) item.inputs.push_back(more);
  }
  const FinishFiles files = files_of(item.name);
  const Deliverables wanted = files.wanted;
  for (const fs::path& file : {wanted.picture, wanted.jpeg, wanted.exr, files.floor_out}) {
    if (!file.empty()) item.outputs.push_back(file);
  }
  if (!wanted.faces.empty() || !wanted.tiles.empty()) {
    item.further_outputs = [wanted, from = panorama.panorama]() -> Result<std::vector<fs::path>> {
      const auto header = read_image_header(from);
      if (!header) return tl::unexpected(header.error());
      std::vector<fs::path> more;
      if (!wanted.faces.empty()) more = face_files(header->width, wanted.faces, wanted.cube);
      if (wanted.tiles.empty()) return more;
      const auto tiles = tile_files(header->width, wanted.tiles, wanted.cube);
      more.insert(more.end(), tiles.begin(), tiles.end());
      return more;
    };
  }
  panorama_of_.emplace(item.name, panorama.panorama);
  items_.push_back(std::move(item));
}

// Named as it is, but not as another one.
void FinishMany::add_left_out(const ListedShot& panorama) {
  ArchiveItem item;
  item.name = free_item_name(
      panorama.name, [this](const std::string& name) { return panorama_of_.contains(name); });
  item.failure = panorama.failure;
  panorama_of_.emplace(item.name, fs::path());
  items_.push_back(std::move(item));
}

Result<std::vector<std::string>> FinishMany::finish(const ArchiveItem& item,
                                                    const ProgressFn& progress) const {
  auto report = finish_panorama(panorama_of_.at(item.name), wish_of(item.name), files_of(item.name),
                                progress);
  if (!report) return tl::unexpected(report.error());
  return std::move(report->findings);
}

}  // namespace seamwright
