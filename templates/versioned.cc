#include "templates/versioned.h"

namespace seamwright {

int read_head(const StrictValue& document, std::string_view format) {
  const YamlValue* seen = document.yaml().find("format");
  if (seen == nullptr || seen->kind != YamlValue::Kind::scalar || seen->text != format) {
    const StrictValue at =
        seen == nullptr ? document : StrictValue(*seen, document.file(), "format");
    at.refuse(fmt::format("this is not a {} file", format),
              fmt::format("check the path; the file begins with 'format: {}'", format));
  }
  const YamlValue* version = document.yaml().find("version");
  if (version == nullptr) document.refuse("the key 'version' is missing", "add 'version: 1'");
  return StrictValue(*version, document.file(), "version").whole(1, 1'000'000);
}

}  // namespace seamwright
