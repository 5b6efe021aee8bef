#include "cli/restitch_slurm.h"

#include <filesystem>

#include <fmt/format.h>

namespace seamwright {

namespace {

/// A word of the shell, whatever is in it.
std::string shell_word(const std::string& text) {
  std::string word = "'";
  for (const char c : text) word += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return word + "'";
}

std::string absolute(const std::string& path) {
  return shell_word(std::filesystem::absolute(path).lexically_normal().string());
}

}  // namespace

std::string slurm_script(const SlurmJob& job) {
  std::string command = "seamwright restitch";
  for (const std::string& input : job.inputs) command += " " + absolute(input);
  for (const std::string& body : job.templates) command += " --template " + absolute(body);
  command += " --out " + absolute(job.out);
  for (const std::string& word : job.more) command += " " + shell_word(word);
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
      job.parts, shell_word(command), absolute(job.out + "/restitch-report.json"));
}

}  // namespace seamwright
