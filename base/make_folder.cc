#include "base/make_folder.h"

#include <system_error>
#include <utility>

namespace seamwright {

Result<void> make_folder(const std::filesystem::path& folder, std::string field) {
  std::error_code code;
  std::filesystem::create_directories(folder, code);
  if (!code) return {};
  return fail({.kind = ErrorKind::io,
               .where = folder.string(),
               .field = std::move(field),
               .what = "cannot be made: " + code.message(),
               .remedy = "give a folder that can be written"});
}

}  // namespace seamwright
