#include "templates/yaml_tree.h"

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/readable_text.h"

using namespace seamwright;

namespace {

void require_tree_refused(const std::string& yaml, int line, const std::string& says) {
  const auto result = parse_yaml(yaml, "y");
  CAPTURE(yaml.substr(0, 200));
  REQUIRE_FALSE(result);
  const std::string message = result.error().line();
  CAPTURE(message);
  CHECK(message.rfind(fmt::format("y:{}: ", line), 0) == 0);
  CHECK(message.find(says) != std::string::npos);
}

}  // namespace

TEST_CASE("the tree holds order, lines and quotes", "[templates]") {
  const auto tree = parse_yaml("# head\na: 1\nb:\n  - x\n  - \"y\"\nc: {d: 2}\n", "y");
  REQUIRE(tree);
  REQUIRE(tree->kind == YamlValue::Kind::map);
  REQUIRE(tree->children.size() == 3);
  CHECK(tree->children[0].key == "a");
  CHECK(tree->children[0].line == 2);
  CHECK(tree->find("b")->line == 3);
  CHECK(tree->find("b")->children[1].line == 5);
  CHECK(tree->find("b")->children[1].quoted);
  CHECK_FALSE(tree->find("b")->children[0].quoted);
  CHECK(tree->find("c")->find("d")->text == "2");
  CHECK(tree->find("z") == nullptr);
}

TEST_CASE("what YAML offers beyond plain trees is refused", "[templates]") {
  require_tree_refused("a: &x 1\nb: 2\n", 1, "anchors");
  require_tree_refused("a: 1\nb: *x\n", 2, "");
  require_tree_refused("a: &x [1]\nb: *x\n", 1, "anchors");
  require_tree_refused("a: 1\nb: !!int 2\n", 2, "tags");
  require_tree_refused("a: 1\nb: !mine {c: 1}\n", 2, "tags");
  require_tree_refused("a: 1\na: 2\n", 2, "twice");
  require_tree_refused("x:\n  a: 1\n  b: {a: 1, a: 2}\n", 3, "twice");
  require_tree_refused("a: 1\n? [1, 2]\n: 3\n", 2, "used as a key");
  require_tree_refused("a: 1\n---\nb: 2\n", 3, "second YAML document");
  require_tree_refused("a: [1, 2\n", 2, "not readable as YAML");
  require_tree_refused("a: 1\n  b: 2\n", 2, "not readable as YAML");
}

TEST_CASE("a document that expands is refused before it does", "[templates]") {
  std::string bomb = "a: &a [x, x, x, x, x, x, x, x, x]\n";
  for (char c = 'b'; c <= 'i'; ++c) {
    const char before = static_cast<char>(c - 1);
    bomb += fmt::format("{}: &{} [*{}, *{}, *{}, *{}, *{}, *{}, *{}, *{}, *{}]\n", c, c, before,
                        before, before, before, before, before, before, before, before);
  }
  require_tree_refused(bomb, 1, "anchors");
  require_tree_refused(std::string(100'000, '['), 1, "");
  require_tree_refused(std::string(100'000, '{'), 1, "");
  std::string steps;
  for (int i = 0; i < 500; ++i) steps += std::string(static_cast<std::size_t>(i), ' ') + "a:\n";
  require_tree_refused(steps, 33, "nested deeper");
  require_tree_refused(std::string(kYamlLimitBytes + 1, '#'), 1, "larger than 4194304 bytes");
}

TEST_CASE("bytes that are not text are refused", "[templates]") {
  require_tree_refused("a: 1\nb: \xff\n", 2, "not UTF-8");
  require_tree_refused("a: 1\n\nb: \xc3\n", 3, "not UTF-8");
  require_tree_refused(std::string("a: 1\nb: \0\n", 10), 2, "control character");
  require_tree_refused("a: 1\nb: \x1b[0m\n", 2, "control character");
  CHECK(parse_yaml("a: gr\xc3\xbc\xc3\x9f dich\n", "y"));
  CHECK(
      parse_yaml("\xef\xbb\xbf"
                 "a: 1\n",
                 "y"));
}

TEST_CASE("UTF-8 is told from what looks like it", "[templates]") {
  // Valid and broken sequences after RFC 3629, section 4.
  for (const char* good :
       {"", "a", "\xc2\x80", "\xdf\xbf", "\xe0\xa0\x80", "\xed\x9f\xbf", "\xee\x80\x80",
        "\xef\xbf\xbd", "\xf0\x90\x80\x80", "\xf4\x8f\xbf\xbf"}) {
    CAPTURE(good);
    CHECK(find_broken_utf8(good) == std::string_view::npos);
  }
  for (const char* bad :
       {"\x80", "\xc0\x80", "\xc1\xbf", "\xc2", "\xc2\x41", "\xe0\x9f\xbf", "\xed\xa0\x80",
        "\xed\xbf\xbf", "\xf0\x8f\xbf\xbf", "\xf4\x90\x80\x80", "\xf5\x80\x80\x80", "\xff"}) {
    CAPTURE(bad);
    CHECK(find_broken_utf8(bad) == 0);
  }
  CHECK(find_broken_utf8("ab\xffz") == 2);
}

TEST_CASE("text from a file is made fit for one line", "[templates]") {
  CHECK(shown("plain") == "'plain'");
  CHECK(shown("a\nb\tc\x7f") == "'a?b?c?'");
  CHECK(shown("\xff-\xfe") == "'?-?'");
  CHECK(shown(std::string(41, 'x')) == "'" + std::string(40, 'x') + "...'");
}
