#pragma once

#include <string>
#include <vector>

namespace seamwright {

/// A word of the POSIX shell that stands for this text, whatever is in it.
[[nodiscard]] std::string shell_word(const std::string& text);

/// A shell script that submits a job array of `parts` restitch runs which share one file system,
/// and one after them that does what is missing and reports all into `report`. `words`: the run's
/// (restitch_words).
[[nodiscard]] std::string slurm_script(const std::vector<std::string>& words, int parts,
                                       const std::string& report);

}  // namespace seamwright
