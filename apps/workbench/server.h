#pragma once

// The page's server: this machine only, a port of the system's choice, a secret in the address.
// docs/workbench-api.md describes every call. Files are only ever named by the number of a shot in
// the list; no path from a request is opened.

#include <memory>
#include <string>
#include <vector>

#include "apps/workbench/desk.h"
#include "apps/workbench/http_server.h"
#include "apps/workbench/shot_list.h"
#include "base/result.h"

namespace seamwright::workbench {

class Server {
 public:
  Server(std::vector<ShotEntry> shots, OpenShotFn open_shot, HttpLimits limits = {});
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;
  ~Server();

  /// Takes a port; once, before run().
  [[nodiscard]] Result<void> bind();
  [[nodiscard]] int port() const;
  /// With the secret: for the person only.
  [[nodiscard]] std::string address() const;
  /// HttpServer::run.
  [[nodiscard]] Result<void> run();
  /// From any thread, also before run(); for good.
  void stop();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace seamwright::workbench
