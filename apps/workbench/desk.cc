#include "apps/workbench/desk.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include <fmt/format.h>

#include "apps/workbench/ring_picture.h"
#include "compose/render/meeting_pairs.h"
#include "compose/render/render.h"
#include "compose/render/seam_plan.h"
#include "imaging/write_image.h"
#include "jobs/shot/open_shot.h"
#include "sampling/strip.h"
#include "templates/frame_scale.h"

namespace seamwright::workbench {

namespace {

const MountedLens& lens_of(const Rig& rig, int lens) {
  return rig.lenses[static_cast<std::size_t>(lens)];
}

constexpr int kLookQuality = 85;

Error no_overlap(const std::string& file) {
  return {.kind = ErrorKind::user_input,
          .where = file,
          .field = {},
          .what = "no two lenses of the template see anything in common",
          .remedy = "use a template whose fields of view overlap"};
}

}  // namespace

Result<OpenedShot> open_entry(const ShotEntry& entry, const std::filesystem::path& template_file) {
  std::error_code code;
  auto files = std::filesystem::exists(entry.shot_file, code) ? read_shot_files(entry.shot_file)
                                                              : Result<ShotFiles>(entry.files);
  if (!files) return tl::unexpected(files.error());
  auto shot = open_shot(std::move(*files),
                        {.template_file = template_file, .old_touch = OldTouch::where_it_fits});
  if (!shot) return tl::unexpected(shot.error());
  auto document = document_at(*shot, entry.shot_file);
  if (!document) return tl::unexpected(document.error());
  document->touch.reset();  // it comes of the ties
  auto pictures = read_pictures(*shot, Exposures::middle);
  if (!pictures) return tl::unexpected(pictures.error());
  return OpenedShot{
      .shot = std::move(*shot), .document = std::move(*document), .pictures = std::move(*pictures)};
}

Result<std::shared_ptr<const Desk>> Desk::make(OpenedShot opened) {
  std::shared_ptr<Desk> desk(new Desk(std::move(opened)));
  const std::vector<Frame>& frames = desk->frames();
  const Rig& rig = desk->body().rig();
  const std::string& file = frames.front().info.file;
  const int width = frames.front().image.width();
  const int height = frames.front().image.height();
  const auto scale = template_scale(rig, frames.front().image, file);
  if (!scale) return tl::unexpected(scale.error());
  desk->scale_ = *scale;
  desk->rig_ = rig.scaled_to(width, height);
  auto views = views_of(frames, desk->rig_);
  if (!views) return tl::unexpected(views.error());
  desk->views_ = std::move(*views);
  for (const auto& [a, b] : meeting_pairs(desk->rig_)) {
    const auto overlap = overlap_of(desk->rig_, a, b);
    if (!overlap) continue;
    desk->pairs_.push_back(*overlap);
    const SearchedPair searched{desk->views_[static_cast<std::size_t>(a)],
                                desk->views_[static_cast<std::size_t>(b)], a, b};
    desk->searches_.push_back(std::make_unique<MatchSearch>(searched, overlap->grid, desk->rig_));
  }
  if (desk->pairs_.empty()) return fail(no_overlap(file));
  return desk;
}

std::optional<Vec2> Desk::ribbon_px(std::size_t pair, int lens, const Vec2& px) const {
  return strip_position(pairs_[pair].grid, lens_of(rig_, lens), px);
}

std::optional<Vec2> Desk::frame_px(std::size_t pair, int lens, const Vec2& at) const {
  const auto position = ribbon_place(pairs_[pair].grid, lens_of(rig_, lens), at);
  if (!position) return std::nullopt;
  return position->px;
}

std::optional<std::size_t> Desk::pair_of(const ManualTie& tie) const {
  const auto sees = [&](int lens) {
    return std::any_of(tie.sights.begin(), tie.sights.end(),
                       [&](const ManualSight& sight) { return sight.lens == lens; });
  };
  for (std::size_t i = 0; i < pairs_.size(); ++i) {
    if (sees(pairs_[i].lens_a) && sees(pairs_[i].lens_b)) return i;
  }
  return std::nullopt;
}

std::optional<Desk::Matched> Desk::match(std::size_t pair, int lens, const Vec2& at) const {
  const PairOverlap& overlap = pairs_[pair];
  const auto found = searches_[pair]->find(at, lens == overlap.lens_a);
  if (!found) return std::nullopt;
  return Matched{
      .tie = {.range = TieRange::open,
              .sigma_px = found->sigma_px,
              .sights = {{overlap.lens_a, found->match.a.px}, {overlap.lens_b, found->match.b.px}}},
      .found = *found};
}

Result<TouchResult> Desk::touch(const std::vector<ManualTie>& ties) const {
  std::vector<Tie> scaled_ties;
  for (const ManualTie& tie : ties) scaled_ties.push_back(scaled_tie(tie.as_tie(0), scale_));
  const RigSolution& solution = body().solution;
  auto result = seamwright::touch(solution.rig, solution.covariance,
                                  solution.quality.flex_sigma_rad, scaled_ties);
  if (!result) return result;
  for (TouchTie& tie : result->ties) {
    for (TieFit* fit : {&tie.before, &tie.after}) {
      fit->parallax_px /= scale_;
      fit->sideways_px /= scale_;
    }
  }
  for (TouchSeam& place : result->seam) {
    for (double* px : {&place.parallax_before_px, &place.sideways_before_px,
                       &place.parallax_after_px, &place.sideways_after_px}) {
      *px /= scale_;
    }
  }
  return result;
}

Rig Desk::touched(const TouchResult& result) const {
  const Image& first = frames().front().image;
  return result.rig.scaled_to(first.width(), first.height());
}

std::string Desk::strip(std::size_t pair, int lens, const Rig& rig) const {
  RibbonGrid grid = pairs_[pair].grid;
  if (grid.width_px > kMostWidth_px) {
    const double share = static_cast<double>(kMostWidth_px) / grid.width_px;
    grid.width_px = kMostWidth_px;
    grid.height_px = std::max(1, static_cast<int>(std::lround(grid.height_px * share)));
    grid.px_per_rad *= share;
  }
  constexpr int kQuality = 88;
  return jpeg_bytes(
      ring_picture(frames()[static_cast<std::size_t>(lens)].image, lens_of(rig, lens), grid),
      kQuality);
}

const GainMatch& Desk::gains() const {
  std::call_once(gains_once_,
                 [this] { gains_ = match_gains(rig_, frames(), opened_.pictures.transfer); });
  return gains_;
}

Result<std::string> Desk::look(const Preview& look, const Rig& rig) const {
  const auto picture = render_preview(rig, frames(), gains().gains, look);
  if (!picture) return tl::unexpected(picture.error());
  return jpeg_bytes(*picture, kLookQuality);
}

Result<std::string> Desk::sphere(const Rig& rig) const {
  const SeamPlan no_seams{.pairs = {}, .gains = gains()};  // or they would be found each time
  const RenderOptions options{.width_px = kSphereWidth_px, .seams = &no_seams};
  const auto panorama = render_panorama(rig, frames(), options);
  if (!panorama) return tl::unexpected(panorama.error());
  return jpeg_bytes(for_screen(panorama->image), kLookQuality);
}

}  // namespace seamwright::workbench
