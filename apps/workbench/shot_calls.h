#pragma once

// What the page may ask of the shots, without HTTP: JSON in, JSON out.

#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "apps/workbench/check_job.h"
#include "apps/workbench/edited_shot.h"
#include "apps/workbench/seam_job.h"

namespace seamwright::workbench {

/// Thread-safe: one call at a time. Shots are named by their number in the list.
class ShotCalls {
 public:
  ShotCalls(std::vector<ShotEntry> shots, OpenShotFn open_shot)
      : shots_(shots), open_shot_(open_shot), check_(std::move(shots), std::move(open_shot)) {}

  [[nodiscard]] nlohmann::json list();
  [[nodiscard]] Result<nlohmann::json> view(int shot);
  [[nodiscard]] Result<nlohmann::json> edit(int shot, const nlohmann::json& edit);
  /// "undo", "redo" or "save".
  [[nodiscard]] Result<nlohmann::json> step(int shot, const std::string& what);
  /// {"pair", "lens", "at"}: a new tie from a click in a strip.
  [[nodiscard]] Result<nlohmann::json> match(int shot, const nlohmann::json& click);
  /// {"id", "lens", "at"}: one end of a tie elsewhere.
  [[nodiscard]] Result<nlohmann::json> move(int shot, const nlohmann::json& place);
  /// {"pair", "wish", "lens", "reach_px", "path"}: a stroke drawn on a ribbon.
  [[nodiscard]] Result<nlohmann::json> draw(int shot, const nlohmann::json& stroke);
  /// JPEG; `touched`: through the touched rig, else the template's.
  [[nodiscard]] Result<std::string> strip(int shot, int pair, int lens, bool touched);
  /// JPEG of a look out of the touched rig or the template's, levelled by the marked edges; of the
  /// whole sphere by the template, as the body stood.
  [[nodiscard]] Result<std::string> look(int shot, const Preview& look, bool touched);
  [[nodiscard]] Result<std::string> sphere(int shot);
  /// {"pair", "at"}: where on the sphere a ribbon place of the touched rig lies.
  [[nodiscard]] Result<nlohmann::json> place_on_sphere(int shot, const nlohmann::json& place);
  [[nodiscard]] Result<nlohmann::json> find_seam(int shot);
  [[nodiscard]] nlohmann::json seam_status() const { return seam_.status(); }
  void stop_seam() { seam_.cancel(); }
  [[nodiscard]] nlohmann::json start_check();
  [[nodiscard]] nlohmann::json stop_check();
  [[nodiscard]] nlohmann::json check_status() const { return check_.status(); }
  /// CheckJob::wait.
  [[nodiscard]] int wait_for_check(int seen, int most_ms) const {
    return check_.wait(seen, most_ms);
  }
  /// JPEG of a checked shot's worst place.
  [[nodiscard]] Result<std::string> picture(int shot) const;

 private:
  [[nodiscard]] Result<EditedShot*> opened(int shot);
  // What is needed to draw a shot while edits go on.
  struct Drawable {
    std::shared_ptr<const Desk> desk;
    Rig rig;
    Quat levelled_from_rig;
  };
  [[nodiscard]] Result<Drawable> drawable(int shot, bool touched);
  [[nodiscard]] nlohmann::json view_of(int shot, const EditedShot& work) const;
  [[nodiscard]] Result<nlohmann::json> edited(int shot, EditedShot& work, const Edit& edit);

  // Frames are large: this many shots stay open. A shot that is closed loses nothing; its journal
  // has all of it.
  static constexpr std::size_t kMostOpen = 2;

  std::mutex mutex_;
  std::vector<ShotEntry> shots_;
  OpenShotFn open_shot_;
  std::map<int, std::unique_ptr<EditedShot>> opened_;
  std::vector<int> order_;  // of opening, the latest last
  SeamJob seam_;
  CheckJob check_;
};

}  // namespace seamwright::workbench
