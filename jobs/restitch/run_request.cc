#include <algorithm>
#include <utility>

#include "base/enum_names.h"
#include "jobs/restitch/open_run.h"
#include "templates/choice_names.h"
#include "templates/run_file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// The run file's reader lets only such words pass.
template <class Enum, std::size_t N>
Enum meant(const std::array<std::string_view, N>& names, const std::string& word) {
  return *enum_of<Enum>(names, word);
}

/// Paths as seen from the working folder.
class Beside {
 public:
  explicit Beside(const fs::path& run_file) : folder_(run_file.parent_path()) {}
  [[nodiscard]] fs::path operator()(const fs::path& relative) const {
    return (folder_ / relative).lexically_normal();
  }

 private:
  fs::path folder_;
};

void apply_display_look(const RunDisplayLook& look, LookWish& wish) {
  if (look.match) wish.match = meant<LookMatch>(kLookMatchNames, *look.match);
  if (look.room_ev) wish.room_ev = *look.room_ev;
  if (look.cast_ev) wish.cast_ev = *look.cast_ev;
  if (look.warmer_ev) wish.warmer_ev = *look.warmer_ev;
}

void apply_look(const RunLook& look, const Beside& beside, ShotWishes& wishes) {
  if (look.width_px) wishes.width_px = *look.width_px;
  if (look.seam) wishes.seam = meant<SeamKind>(kSeamNames, *look.seam);
  apply_display_look(look.look, wishes.look);
  if (look.brighter_ev) wishes.tone.brighter_ev = *look.brighter_ev;
  if (look.local) wishes.tone.local = *look.local;
  if (look.glow_removal) wishes.glow_removal = *look.glow_removal;
  if (look.level) wishes.level.upright = *look.level ? Upright::find : Upright::as_marked;
  if (look.middle_deg) wishes.level.middle_deg = *look.middle_deg;
  if (look.compass_deg) wishes.level.compass_deg = *look.compass_deg;
  if (look.cover_deg) wishes.cover.cover_deg = *look.cover_deg;
  if (look.plate) wishes.cover.plate = beside(*look.plate);
  if (look.plate_deg) wishes.cover.plate_deg = *look.plate_deg;
  if (look.anyway) wishes.anyway = *look.anyway;
  if (look.touch) wishes.touch_knocked = *look.touch;
}

ShotWishes wishes_in(const RunFile& run, const Beside& beside) {
  ShotWishes wishes{.compression = meant<TiffCompression>(kCompressionNames, run.compression),
                    .keep_location = !run.strip_location};
  if (!run.jpegs.empty()) {
    wishes.jpeg_quality = run.jpegs.front().quality;
    wishes.jpeg_width_px = run.jpegs.front().width_px;
  }
  apply_look(run.look, beside, wishes);
  return wishes;
}

CubeOptions cube_in(const RunCube& cube) {
  return {.face_px = cube.face_px, .tile_px = cube.tile_px, .jpeg_quality = cube.quality};
}

Delivery delivery_in(const RunFile& run) {
  Delivery delivery;
  delivery.names = run.names;
  delivery.light = run.light;
  delivery.exr = run.exr;
  for (std::size_t i = 1; i < run.jpegs.size(); ++i) {
    delivery.more_jpegs.push_back({run.jpegs[i].width_px, run.jpegs[i].quality});
  }
  if (run.faces) delivery.faces = cube_in(*run.faces);
  if (run.tiles) delivery.tiles = cube_in(*run.tiles);
  return delivery;
}

Result<GroupingOptions> grouping_in(const RunFile& run) {
  GroupingOptions grouping{.rest_s = run.rest_s, .frames_per_shot = run.frames_per_shot};
  if (!run.pattern.empty()) {
    auto pattern = FramePattern::parse(run.pattern);
    if (!pattern) return tl::unexpected(pattern.error());
    grouping.pattern = std::move(*pattern);
  }
  return grouping;
}

NamedShot named_in(const RunShot& shot, const ShotWishes& usual, const Beside& beside) {
  NamedShot named{.name = {shot.name, shot.time, shot.body},
                  .rig_template = {},
                  .folder = beside(shot.folder),
                  .files = {},
                  .layout = {},
                  .quarter_turns = shot.quarter_turns,
                  .wishes = usual};
  if (!shot.rig_template.empty()) named.rig_template = beside(shot.rig_template);
  for (const auto& lens : shot.files) {
    std::vector<fs::path>& exposures = named.files.emplace_back();
    for (const fs::path& file : lens) exposures.push_back(beside(shot.folder / file));
  }
  if (!shot.layout.empty()) named.layout = meant<FrameLayout>(kLayoutNames, shot.layout);
  apply_look(shot.look, beside, named.wishes);
  return named;
}

}  // namespace

bool is_run_file(const fs::path& path) {
  const std::string name = path.filename().string();
  return name.ends_with(".run.yaml") || name.ends_with(".run.yml");
}

Result<RunRequest> read_run_request(const fs::path& run_file) {
  const auto run = read_run_file(run_file);
  if (!run) return tl::unexpected(run.error());
  const Beside beside(run_file);
  auto grouping = grouping_in(*run);
  if (!grouping) return tl::unexpected(grouping.error());
  RunRequest request{.shots = {},
                     .templates = {},
                     .out = beside(run->out),
                     .wishes = wishes_in(*run, beside),
                     .grouping = std::move(*grouping),
                     .jpeg = !run->jpegs.empty(),
                     .named = {},
                     .delivery = delivery_in(*run),
                     .budget = {.shots = run->at_once, .memory_gib = run->memory_gib}};
  if (auto error = request.delivery.validate()) {
    error->where = run_file.string();
    return fail(std::move(*error));
  }
  for (const RunShot& shot : run->shots) {
    if (shot.skip) continue;
    if (shot.place.empty()) {
      request.named.push_back(named_in(shot, request.wishes, beside));
    } else {
      request.shots.push_back(beside(shot.place));
    }
  }
  for (const fs::path& body : run->templates) request.templates.push_back(beside(body));
  return request;
}

}  // namespace seamwright
