#include "tests/report/markup_check.h"

#include <regex>
#include <set>
#include <vector>

namespace seamwright::test {

namespace {

std::optional<std::string> text_fault(const std::string& text) {
  static const std::regex entity("&(amp|lt|gt|quot|apos|#[0-9]+);");
  if (std::regex_replace(text, entity, "").find('&') != std::string::npos)
    return "bare & in: " + text;
  if (text.find("]]>") != std::string::npos) return "]]> in text";
  for (const char c : text) {
    if (static_cast<unsigned char>(c) < 0x20 && c != '\n' && c != '\t') return "control character";
  }
  return std::nullopt;
}

}  // namespace

std::optional<std::string> markup_fault(const std::string& text) {
  static const std::regex open_tag(
      R"(<([A-Za-z][A-Za-z0-9]*)((?:\s+[A-Za-z][A-Za-z0-9-]*="[^"<]*")*)\s*(/?)>)");
  static const std::regex attribute(R"(([A-Za-z][A-Za-z0-9-]*)="([^"<]*)\")");
  std::vector<std::string> open;
  std::size_t at = 0;
  const std::string doctype = "<!DOCTYPE html>";
  if (text.compare(0, doctype.size(), doctype) == 0) at = doctype.size();
  bool had_root = false;
  while (at < text.size()) {
    const std::size_t tag = text.find('<', at);
    const std::string between = text.substr(at, tag - at);
    if (auto fault = text_fault(between)) return fault;
    if (open.empty() && between.find_first_not_of(" \n\t") != std::string::npos) {
      return "text outside the root: " + between;
    }
    if (tag == std::string::npos) break;
    const std::size_t end = text.find('>', tag);
    if (end == std::string::npos) return "a tag does not end";
    const std::string whole = text.substr(tag, end - tag + 1);
    at = end + 1;
    if (whole.compare(0, 2, "</") == 0) {
      const std::string name = whole.substr(2, whole.size() - 3);
      if (open.empty() || open.back() != name) return "closes wrongly: " + whole;
      open.pop_back();
      continue;
    }
    std::smatch parts;
    if (!std::regex_match(whole, parts, open_tag)) return "no tag: " + whole;
    const std::string attributes = parts[2];
    std::set<std::string> names;
    for (std::sregex_iterator it(attributes.begin(), attributes.end(), attribute), none; it != none;
         ++it) {
      if (!names.insert((*it)[1]).second) return "twice the same attribute: " + whole;
      if (auto fault = text_fault((*it)[2])) return fault;
    }
    if (open.empty() && had_root) return "a second root: " + whole;
    had_root = true;
    if (parts[3].length() == 0) open.push_back(parts[1]);
  }
  if (!open.empty()) return "never closed: " + open.back();
  return had_root ? std::nullopt : std::optional<std::string>("no root");
}

}  // namespace seamwright::test
