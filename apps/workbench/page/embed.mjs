// Writes C++ that holds the page: node embed.mjs OUT.cc PATH TYPE FILE [PATH TYPE FILE]…
import { readFileSync, writeFileSync } from 'node:fs';

const [out, ...rest] = process.argv.slice(2);
const escaped = (bytes) => {
  let text = '';
  for (const byte of bytes) {
    const plain = byte >= 32 && byte < 127 && byte !== 34 && byte !== 92 && byte !== 63;
    text += plain ? String.fromCharCode(byte) : '\\' + byte.toString(8).padStart(3, '0');
  }
  return text;
};
const literal = (file) => {
  const bytes = readFileSync(file);
  const lines = [];
  for (let i = 0; i < bytes.length; i += 80) {
    lines.push(`    "${escaped(bytes.subarray(i, i + 80))}"`);
  }
  return `std::string_view(\n${lines.join('\n')},\n    ${bytes.length})`;
};
const entries = [];
for (let i = 0; i + 2 < rest.length; i += 3) {
  entries.push(`  {"${rest[i]}", "${rest[i + 1]}; charset=utf-8", ${literal(rest[i + 2])}},`);
}
writeFileSync(
  out,
  `#include "apps/workbench/page_files.h"

#include <array>

namespace seamwright::workbench {

namespace {
constexpr std::array<PageFile, ${entries.length}> kFiles = {{
${entries.join('\n')}
}};
}  // namespace

std::span<const PageFile> page_files() { return kFiles; }

}  // namespace seamwright::workbench
`,
);
