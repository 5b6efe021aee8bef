#pragma once

#include <filesystem>
#include <memory>

#include <nlohmann/json.hpp>

#include "workbench/desk.h"
#include "workbench/session.h"

namespace seamwright::workbench {

/// An open shot with its edits and the touch that comes of them, kept up to date: a change whose
/// touch cannot be solved is refused as a whole. Not thread-safe.
class Bench {
 public:
  [[nodiscard]] static Result<std::unique_ptr<Bench>> open(std::shared_ptr<const Desk> desk,
                                                           const std::filesystem::path& shot_file);

  [[nodiscard]] Result<void> edit(const Edit& edit);
  [[nodiscard]] Result<void> undo();
  [[nodiscard]] Result<void> redo();
  [[nodiscard]] Result<void> save();

  [[nodiscard]] const std::shared_ptr<const Desk>& desk() const { return desk_; }
  [[nodiscard]] const Session& session() const { return session_; }
  [[nodiscard]] const TouchResult& touched() const { return touched_; }
  /// [longitude, latitude] in degrees of a direction of the rig.
  [[nodiscard]] static nlohmann::json on_sphere(const Vec3& direction);
  /// All that the page shows (docs/workbench-api.md, "view").
  [[nodiscard]] nlohmann::json view() const;

 private:
  Bench(std::shared_ptr<const Desk> desk, Session session)
      : desk_(std::move(desk)), session_(std::move(session)) {}
  [[nodiscard]] Result<void> solve();

  std::shared_ptr<const Desk> desk_;
  Session session_;
  TouchResult touched_;
};

}  // namespace seamwright::workbench
