#include "jobs/restitch/restitch.h"

#include <algorithm>
#include <utility>

#include "jobs/restitch/restitch_items.h"
#include "jobs/restitch/shots_at_once.h"
#include "jobs/shot/stitch_shot.h"

namespace seamwright {
namespace fs = std::filesystem;

Restitch::Restitch(RestitchOrder order) : order_(std::move(order)), choice_(order_.templates) {
  std::erase_if(order_.shots, [](const ListedShot& shot) { return !shot.panorama.empty(); });
  leave_out_unusable(order_);
  for (RestitchPiece& piece : pieces_of(order_)) {
    shots_.emplace(piece.item.name, piece.shot);
    items_.push_back(std::move(piece.item));
  }
}

std::optional<Error> Restitch::nothing_to_do() const { return nothing_left(order_.shots); }

std::vector<UndecidedLook> Restitch::undecided_looks() const {
  std::vector<UndecidedLook> looks;
  for (std::size_t at = 0; at < items_.size(); ++at) {
    const ListedShot& shot = *shots_.at(items_[at].name);
    const LookWish& wish = wishes_of(order_, shot).look;
    if (items_[at].failure || wish.match != LookMatch::run) continue;
    looks.push_back({.at = at, .wish = wish, .bracketed = shot.files.bracketed()});
  }
  return looks;
}

void Restitch::set_look(std::size_t at, const DisplayLook& look) {
  ArchiveItem& item = items_[at];
  const ListedShot& shot = *shots_.at(item.name);
  ShotWishes wishes = wishes_of(order_, shot);
  wishes.look.by_run = look;
  order_.exceptions.insert_or_assign(shot.name, std::move(wishes));
  put_settings(order_, shot, item);
}

Result<const BodyTemplate*> Restitch::template_of(const ListedShot& shot) const {
  if (const BodyTemplate* own = own_template_of(order_, shot)) return own;
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
    largest = std::max(largest, memory_gib_of(shot->files, wishes_of(order_, *shot), whole));
  }
  return largest;
}

Result<Shot> Restitch::open(const std::string& item_name, OldTouch old_touch) const {
  const ListedShot& shot = *shots_.at(item_name);
  if (shot.failure) return fail(*shot.failure);
  const OpenOptions options{.wishes = wishes_of(order_, shot), .old_touch = old_touch};
  if (order_.templates.empty() && own_template_of(order_, shot) == nullptr) {
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
