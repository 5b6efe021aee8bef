#include "apps/cli/restitch_slurm.h"

#include <fmt/format.h>

namespace seamwright {

std::string shell_word(const std::string& text) {
  std::string word = "'";
  for (const char c : text) word += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return word + "'";
}

// Two shells read what stands here: the one that runs the script, and the one that runs a job's
// command. So a word of the job is quoted twice, and the script only ever expands variables that
// hold whole pieces of the job's command.
std::string slurm_script(const std::vector<std::string>& words, int parts,
                         const std::string& report) {
  std::string arguments;
  for (const std::string& word : words) arguments += " " + shell_word(word);
  return fmt::format(
      "#!/bin/sh\n"
      "# Stitches an archive in {0} jobs that share one file system, then reports all of it.\n"
      "# SEAMWRIGHT names the program, SBATCH_OPTIONS what sbatch shall be told (partition, "
      "memory, "
      "time).\n"
      "set -eu\n"
      "quoted=$(printf '%s' \"${{SEAMWRIGHT:-seamwright}}\" | sed \"s/'/'\\\\\\\\''/g\")\n"
      "arguments={1}\n"
      "report={2}\n"
      "line=\"'$quoted'$arguments\"\n"
      "# Exit code 2 means done, with findings.\n"
      "array=$(sbatch --parsable ${{SBATCH_OPTIONS:-}} --array=1-{0} --job-name=restitch "
      "--wrap=\"$line --part \\$SLURM_ARRAY_TASK_ID/{0} || [ \\$? = 2 ]\")\n"
      "sbatch --parsable ${{SBATCH_OPTIONS:-}} --dependency=afterany:\"$array\" "
      "--job-name=restitch-report --wrap=\"$line --json > $report || [ \\$? = 2 ]\"\n",
      parts, shell_word(arguments), shell_word(shell_word(report)));
}

}  // namespace seamwright
