#include "apps/report/markup.h"

#include <fmt/format.h>

#include "base/escaped_markup.h"

namespace seamwright::report {

std::string escaped(std::string_view text) {
  std::string plain;
  plain.reserve(text.size());
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    const bool control = (byte < 0x20 && c != '\t' && c != '\n') || byte == 0x7F;
    plain += control ? std::string_view("\xEF\xBF\xBD") : std::string_view(&c, 1);
  }
  return escaped_markup(plain);
}

std::string table(std::string_view caption, const std::vector<std::string>& header,
                  const std::vector<std::vector<std::string>>& rows, std::size_t first_number) {
  const auto kind = [&](std::size_t column) {
    return column >= first_number ? " class=\"n\"" : "";
  };
  std::string out = "<div class=\"scroll\" tabindex=\"0\">\n<table>\n";
  out += fmt::format("<caption>{}</caption>\n<thead><tr>", escaped(caption));
  for (std::size_t i = 0; i < header.size(); ++i) {
    out += fmt::format("<th scope=\"col\"{}>{}</th>", kind(i), escaped(header[i]));
  }
  out += "</tr></thead>\n<tbody>\n";
  for (const auto& row : rows) {
    out += "<tr>";
    for (std::size_t i = 0; i < row.size(); ++i) {
      out += i == 0 ? fmt::format("<th scope=\"row\">{}</th>", escaped(row[i]))
                    : fmt::format("<td{}>{}</td>", kind(i), escaped(row[i]));
    }
    out += "</tr>\n";
  }
  return out + "</tbody>\n</table>\n</div>\n";
}

std::string section(std::string_view heading, std::string_view body) {
  return fmt::format("<section>\n<h2>{}</h2>\n{}</section>\n", escaped(heading), body);
}

std::string paragraph(std::string_view text) { return fmt::format("<p>{}</p>\n", escaped(text)); }

std::string figure(std::string_view drawing, std::string_view caption) {
  return fmt::format("<figure>\n{}<figcaption>{}</figcaption>\n</figure>\n", drawing,
                     escaped(caption));
}

std::string page(std::string_view title, std::string_view style, std::string_view body) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
      "<meta name=\"color-scheme\" content=\"light dark\"/>\n"
      "<title>{}</title>\n<style>\n{}</style>\n</head>\n<body>\n<main>\n{}</main>\n</body>\n</"
      "html>\n",
      escaped(title), style, body);
}

}  // namespace seamwright::report
