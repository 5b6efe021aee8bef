#include "cli/output_files.h"

#include <cstddef>
#include <system_error>

#include <fmt/format.h>

namespace seamwright {

namespace {

bool same_file(const std::filesystem::path& one, const std::filesystem::path& other) {
  std::error_code unknown;
  if (std::filesystem::equivalent(one, other, unknown)) return true;
  // Files that are not there yet have no identity but their name.
  const auto absolute = [](const std::filesystem::path& path) {
    std::error_code code;
    const auto found = std::filesystem::weakly_canonical(path, code);
    return code ? path.lexically_normal() : found;
  };
  return absolute(one) == absolute(other);
}

}  // namespace

Result<void> check_outputs(const std::vector<OutputFile>& outputs,
                           const std::vector<std::filesystem::path>& inputs,
                           std::string_view input_kind) {
  const auto refused = [](const OutputFile& output, const std::string& what) {
    return fail({.kind = ErrorKind::user_input,
                 .where = output.path.string(),
                 .field = output.option,
                 .what = what,
                 .remedy = "give another file name"});
  };
  for (std::size_t i = 0; i < outputs.size(); ++i) {
    if (outputs[i].path.empty()) continue;
    for (const auto& input : inputs) {
      if (input.empty() || !same_file(outputs[i].path, input)) continue;
      return refused(outputs[i], fmt::format("would overwrite an input, {}", input_kind));
    }
    for (std::size_t k = 0; k < i; ++k) {
      if (outputs[k].path.empty() || !same_file(outputs[i].path, outputs[k].path)) continue;
      return refused(outputs[i], fmt::format("this is the file of {} as well", outputs[k].option));
    }
  }
  return {};
}

}  // namespace seamwright
