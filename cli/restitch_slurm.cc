#include "cli/restitch_slurm.h"

#include <fmt/format.h>

namespace seamwright {

namespace {

/// A word of the shell, whatever is in it.
std::string shell_word(const std::string& text) {
  std::string word = "'";
  for (const char c : text) word += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return word + "'";
}

}  // namespace

std::string slurm_script(const std::vector<std::string>& words, int parts,
                         const std::string& report) {
  std::string command = "seamwright";
  for (const std::string& word : words) command += " " + shell_word(word);
  return fmt::format(
      "#!/bin/sh\n"
      "# Stitches an archive in {0} jobs that share one file system, then reports all of it.\n"
      "# SEAMWRIGHT names the program, SBATCH_OPTIONS what sbatch shall be told (partition, "
      "memory, "
      "time).\n"
      "set -eu\n"
      "program=${{SEAMWRIGHT:-seamwright}}\n"
      "work() {{ printf '%s' {1}; }}\n"
      "line=$(work | sed \"s|^seamwright|$program|\")\n"
      "# Exit code 2 means done, with findings.\n"
      "array=$(sbatch --parsable ${{SBATCH_OPTIONS:-}} --array=1-{0} --job-name=restitch "
      "--wrap=\"$line --part \\$SLURM_ARRAY_TASK_ID/{0} || [ \\$? = 2 ]\")\n"
      "sbatch --parsable ${{SBATCH_OPTIONS:-}} --dependency=afterany:\"$array\" "
      "--job-name=restitch-report --wrap=\"$line --json > {2} || [ \\$? = 2 ]\"\n",
      parts, shell_word(command), shell_word(report));
}

}  // namespace seamwright
