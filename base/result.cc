#include "base/result.h"

namespace seamwright {

std::string Error::line() const {
  std::string text;
  for (const std::string* part : {&where, &field, &what}) {
    if (part->empty()) continue;
    if (!text.empty()) text += ": ";
    text += *part;
  }
  if (!remedy.empty()) text += "; " + remedy;
  for (char& c : text) {
    if (c == '\n' || c == '\r') c = ' ';
  }
  return text;
}

}  // namespace seamwright
