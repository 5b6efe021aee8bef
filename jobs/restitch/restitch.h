#pragma once

// Many shots stitched as often as is needed and no more (jobs/archive/run.h): what each is made
// from, what tells whether it is up to date, and the stitch itself. Each shot has its own wishes,
// so that one may be an exception.

#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/archive/run.h"
#include "jobs/restitch/day_fit.h"
#include "jobs/restitch/delivery.h"
#include "jobs/restitch/template_choice.h"
#include "jobs/shot/open_shot.h"
#include "jobs/shot/shot_list.h"

namespace seamwright {

/// What a run stitches, with what, into what.
struct RestitchOrder {
  std::vector<ListedShot> shots;        ///< panoramas among them are no shots and left out
  std::vector<BodyTemplate> templates;  ///< each shot takes the one that fits; none: by shot files
  ShotWishes wishes;
  std::map<std::string, ShotWishes> exceptions = {};  ///< in place of `wishes`, by ListedShot::name
  GroupingOptions grouping = {};                      ///< by which `shots` were listed
  bool jpeg = false;                                  ///< beside each panorama
  std::filesystem::path out;                          ///< folder of the panoramas
  std::vector<BodyTemplate> own_templates = {};       ///< of single shots, no choice for others
  std::map<std::string, std::size_t> body_of = {};    ///< in `own_templates`, by ListedShot::name
  std::map<std::string, NameParts> parts = {};        ///< for Delivery::names, likewise
  Delivery delivery = {};
};

/// A piece whose look is the run's to decide.
struct UndecidedLook {
  std::size_t at = 0;  ///< in Restitch::items()
  LookWish wish;
  bool bracketed = false;
};

/// The shots of an order as pieces of an archive run. Work may be asked for from several threads.
class Restitch {
 public:
  explicit Restitch(RestitchOrder order);
  Restitch(const Restitch&) = delete;
  Restitch& operator=(const Restitch&) = delete;

  /// One piece a shot: NAME.tif and what else is delivered of it. Those that cannot be begun say
  /// why: shots that would take each other's place, and those without a template.
  [[nodiscard]] const std::vector<ArchiveItem>& items() const { return items_; }
  /// Why no shot at all can be begun.
  [[nodiscard]] std::optional<Error> nothing_to_do() const;

  /// Stitches one; gives what a person should look at.
  [[nodiscard]] Result<std::vector<std::string>> stitch(const ArchiveItem& item,
                                                        const ProgressFn& progress = {}) const;
  /// What the quick tests of the shots stitched so far say.
  [[nodiscard]] const DayFit& day_fit() const { return day_fit_; }
  /// What a person may want to know of a shot that was stitched.
  [[nodiscard]] std::vector<std::string> notes_of(const std::string& item_name) const;
  /// What the shot of a piece is listed as.
  [[nodiscard]] const std::string& name_of(const std::string& item_name) const {
    return shots_.at(item_name)->name;
  }
  /// What the shot takes that takes most (shots_at_once.h).
  [[nodiscard]] double largest_shot_gib() const;
  /// The shot of a piece as it is stitched.
  [[nodiscard]] Result<Shot> open(const std::string& item_name,
                                  OldTouch old_touch = OldTouch::kept) const;

  /// The pieces that can be begun and whose look is the run's to decide (run_look.h).
  [[nodiscard]] std::vector<UndecidedLook> undecided_looks() const;
  /// What the run decided for a piece of items(): part of what its panorama is made by, from now
  /// on.
  void set_look(std::size_t at, const DisplayLook& look);

 private:
  [[nodiscard]] Result<const BodyTemplate*> template_of(const ListedShot& shot) const;

  RestitchOrder order_;
  TemplateChoice choice_;
  std::map<std::string, const ListedShot*> shots_;  // by the item's name
  std::vector<ArchiveItem> items_;
  // Templates by listed name: choosing may take a look at the shot's frames.
  mutable std::mutex choosing_;
  mutable std::map<std::string, const BodyTemplate*> chosen_;
  mutable DayFit day_fit_;
  mutable std::mutex noting_;
  mutable std::map<std::string, std::vector<std::string>> notes_;  // by the item's name
};

}  // namespace seamwright
