#pragma once

#include <filesystem>
#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

#include "apps/workbench/desk.h"
#include "apps/workbench/session.h"
#include "compose/finish/verticals.h"

namespace seamwright::workbench {

/// An open shot with its edits, the touch and the level that come of them, kept up to date: a
/// change whose touch cannot be solved is refused as a whole, and so is an edge that cannot be
/// upright. Not thread-safe.
class EditedShot {
 public:
  [[nodiscard]] static Result<std::unique_ptr<EditedShot>> open(
      std::shared_ptr<const Desk> desk, const std::filesystem::path& shot_file);

  [[nodiscard]] Result<void> edit(const Edit& edit);
  [[nodiscard]] Result<void> undo();
  [[nodiscard]] Result<void> redo();
  [[nodiscard]] Result<void> save();

  [[nodiscard]] const std::shared_ptr<const Desk>& desk() const { return desk_; }
  [[nodiscard]] const Session& session() const { return session_; }
  [[nodiscard]] const TouchResult& touched() const { return touched_; }
  /// What the marked edges turn the shot by; none, or none that can be upright: not at all.
  [[nodiscard]] Quat levelled_from_rig() const;
  /// [longitude, latitude] in degrees of a direction of the rig.
  [[nodiscard]] static nlohmann::json on_sphere(const Vec3& direction);
  /// All that the page shows (docs/workbench-api.md, "view").
  [[nodiscard]] nlohmann::json view() const;

 private:
  EditedShot(std::shared_ptr<const Desk> desk, Session session)
      : desk_(std::move(desk)), session_(std::move(session)) {}
  [[nodiscard]] Result<void> solve();
  [[nodiscard]] nlohmann::json level_json() const;

  std::shared_ptr<const Desk> desk_;
  Session session_;
  TouchResult touched_;
  std::optional<Result<Vertical>> vertical_;  // by the marked edges, where there are any
};

}  // namespace seamwright::workbench
