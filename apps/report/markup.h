#pragma once

// Pieces of a page as strings of well-formed markup. Whatever came from a person or a file goes
// through escaped().

#include <string>
#include <string_view>
#include <vector>

namespace seamwright::report {

/// Text with & < > " made harmless, also inside a quoted attribute; characters that XML does not
/// allow become U+FFFD.
[[nodiscard]] std::string escaped(std::string_view text);

/// A table: header cells once, then rows whose first cell is their header. Cells are text; they are
/// escaped here. Columns from `first_number` on are set as numbers.
[[nodiscard]] std::string table(std::string_view caption, const std::vector<std::string>& header,
                                const std::vector<std::vector<std::string>>& rows,
                                std::size_t first_number);

/// A section with its heading; `body` is markup.
[[nodiscard]] std::string section(std::string_view heading, std::string_view body);

/// A paragraph of text.
[[nodiscard]] std::string paragraph(std::string_view text);

/// A figure: drawing (markup) and caption (text).
[[nodiscard]] std::string figure(std::string_view drawing, std::string_view caption);

/// The whole page. `style` is CSS, `body` markup.
[[nodiscard]] std::string page(std::string_view title, std::string_view style,
                               std::string_view body);

}  // namespace seamwright::report
