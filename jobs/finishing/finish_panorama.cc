#include "jobs/finishing/finish_panorama.h"

#include <utility>

#include "compose/finish/glow.h"
#include "compose/finish/level.h"
#include "compose/finish/wrapped_panorama.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

struct Work {
  Image panorama;
  PanoramaRecord record;
  FinishReport report;
};

Result<Work> open(const fs::path& file, const FinishWish& wish) {
  auto panorama = read_image(file);
  if (!panorama) return tl::unexpected(panorama.error());
  if (auto error = check_whole_sphere(*panorama)) {
    error->where = file.string();
    return fail(std::move(*error));
  }
  auto info = read_frame_info(file);
  if (!info) return tl::unexpected(info.error());
  const auto sphere = read_panorama_info(file);
  if (!sphere) return tl::unexpected(sphere.error());
  Work work;
  work.panorama = std::move(*panorama);
  work.record.info = std::move(*info);
  if (!wish.keep_location) work.record.info.location.reset();
  work.record.sphere = sphere->value_or(PanoramaInfo{});
  return work;
}

Result<void> turn(Work& work, const fs::path& file, const FinishWish& wish,
                  const ProgressFn& progress) {
  if (wish.mirrored) work.panorama = mirror_image(work.panorama);
  auto levelled = level_panorama(wish.turn, work.panorama);
  if (!levelled) {
    levelled.error().where = file.string();
    return tl::unexpected(levelled.error());
  }
  work.report.levelled = *levelled;
  double& heading = work.record.sphere.heading_deg;
  heading = wish.turn.compass_deg.value_or(heading + wish.turn.middle_deg);
  if (!wish.turn.turns()) return {};
  auto turned = turn_panorama(work.panorama, levelled->turned_from_source, progress);
  if (!turned) return tl::unexpected(turned.error());
  work.panorama = std::move(*turned);
  // Upright now, whatever was said of it before.
  if (levelled->vertical) work.record.sphere.pitch_deg = work.record.sphere.roll_deg = 0.0;
  return {};
}

Result<void> put_floor(Work& work, const FinishWish& wish) {
  if (wish.floor_in.empty()) return {};
  const auto edited = read_image(wish.floor_in);
  if (!edited) return tl::unexpected(edited.error());
  auto done = put_floor_back(work.panorama, *edited, wish.floor_field_deg);
  if (!done) {
    done.error().where = wish.floor_in.string();
    return tl::unexpected(done.error());
  }
  work.report.floor = *done;
  std::vector<std::string>& findings = work.report.findings;
  if (done->edited_px == 0) {
    findings.push_back(wish.floor_in.string() + ": nothing was edited in it");
  }
  if (done->everything_edited) {
    findings.push_back(wish.floor_in.string() +
                       ": nearly every pixel differs; is it a view of this panorama, turned "
                       "the same way?");
  }
  return {};
}

Result<void> write_floor(const Work& work, const FinishWish& wish, const fs::path& file) {
  if (file.empty()) return {};
  const auto floor = floor_view(work.panorama, wish.floor_field_deg);
  if (!floor) return tl::unexpected(floor.error());
  return write_image(file, *floor);
}

}  // namespace

std::optional<Error> FinishWish::validate() const {
  if (auto error = turn.validate()) return error;
  if (auto error = check_glow_removal(glow_removal)) return error;
  return cover.validate();
}

std::vector<fs::path> FinishFiles::named() const {
  std::vector<fs::path> names = {wanted.picture, wanted.jpeg,  wanted.exr,
                                 wanted.faces,   wanted.tiles, floor_out};
  std::erase(names, fs::path());
  return names;
}

Result<FinishReport> finish_panorama(const fs::path& panorama, const FinishWish& wish,
                                     const FinishFiles& files, const ProgressFn& progress) {
  if (auto error = wish.validate()) return fail(std::move(*error));
  auto work = open(panorama, wish);
  if (!work) return tl::unexpected(work.error());
  if (auto error = files.wanted.check(work->panorama.width())) return fail(std::move(*error));
  if (wish.glow_removal != 0) {
    const auto removal = remove_glow(work->panorama, wish.glow_removal);
    if (!removal) return tl::unexpected(removal.error());
  }
  if (auto done = turn(*work, panorama, wish, progress); !done) {
    return tl::unexpected(done.error());
  }
  if (auto done = put_floor(*work, wish); !done) return tl::unexpected(done.error());
  FinishReport& report = work->report;
  if (auto done = cover_stand(wish.cover, work->panorama, report.findings); !done) {
    return tl::unexpected(done.error());
  }
  if (auto done = write_floor(*work, wish, files.floor_out); !done) {
    return tl::unexpected(done.error());
  }
  if (auto done = deliver(work->panorama, work->record, files.wanted, progress); !done) {
    return tl::unexpected(done.error());
  }
  report.width_px = work->panorama.width();
  report.height_px = work->panorama.height();
  report.heading_deg = work->record.sphere.heading_deg;
  report.location = work->record.info.location.has_value();
  return std::move(report);
}

}  // namespace seamwright
