#pragma once

// Programs that are run as a person would: the one that is tested, and those that help.

#include <string>
#include <vector>

namespace independent {

struct Outcome {
  int exit_code = -1;
  std::string out;
  std::string err;
};

/// Runs a program, by path or name. Throws std::runtime_error where it cannot be started.
[[nodiscard]] Outcome run(const std::vector<std::string>& words);

/// The value of an environment variable that the tests are started with; throws where it is
/// missing.
[[nodiscard]] std::string setting(const char* name);

[[nodiscard]] std::string bytes_of(const std::string& file);

/// A folder that is removed, with all that is in it, when the tests end.
[[nodiscard]] const std::string& work_folder();

/// EXIF as a body would write it.
struct Exif {
  std::string taken_at;  ///< "2024:05:11 10:20:30"
  std::string exposure;  ///< seconds as a fraction, "1/30"
  std::string lens;      ///< empty: not said
};
void write_exif(const std::string& file, const Exif& exif);

}  // namespace independent
