#pragma once

#include <string>
#include <vector>

namespace seamwright {

/// A restitch run that many machines share through one file system.
struct SlurmJob {
  std::vector<std::string> inputs;
  std::vector<std::string> templates;
  std::string out;
  int parts = 2;
  std::vector<std::string> more;  ///< options of restitch
};

/// A shell script that submits an array of `parts` jobs, and one after them that does what is
/// missing and reports all.
[[nodiscard]] std::string slurm_script(const SlurmJob& job);

}  // namespace seamwright
