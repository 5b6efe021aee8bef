#include "jobs/shot/shot_key.h"

#include <array>
#include <map>
#include <optional>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "jobs/shot/fields.h"

namespace seamwright {

namespace {

/// Path of a field, such as "level.edges[0].ends[1].lens", and its value.
using FieldTexts = std::map<std::string, std::string>;

std::string_view word_of(SeamKind kind) { return kSeamNames[static_cast<std::size_t>(kind)]; }
std::string_view word_of(ResampleKernel kernel) {
  return kKernelNames[static_cast<std::size_t>(kernel)];
}
std::string_view word_of(TiffCompression kind) {
  return kCompressionNames[static_cast<std::size_t>(kind)];
}
std::string_view word_of(Upright upright) {
  constexpr std::array<std::string_view, 3> kNames = {"as_marked", "find", "leave"};
  static_assert(static_cast<int>(Upright::leave) == kNames.size() - 1);
  return kNames[static_cast<std::size_t>(upright)];
}
std::string_view word_of(LookMatch match) {
  return kLookMatchNames[static_cast<std::size_t>(match)];
}
std::string_view word_of(FrameLayout layout) {
  constexpr std::array<std::string_view, 3> kNames = {"one_per_file", "side_by_side", "stacked"};
  static_assert(static_cast<int>(FrameLayout::stacked) == kNames.size() - 1);
  return kNames[static_cast<std::size_t>(layout)];
}

template <class T>
constexpr bool is_list = false;
template <class T>
constexpr bool is_list<std::vector<T>> = true;
template <class T, std::size_t N>
constexpr bool is_list<std::array<T, N>> = true;

template <class T>
constexpr bool is_optional = false;
template <class T>
constexpr bool is_optional<std::optional<T>> = true;

// A text tells where it ends, whatever stands in it.
std::string quoted(const std::string& text) { return fmt::format("{}:{}", text.size(), text); }

template <class T>
void put(FieldTexts& texts, const std::string& path, const T& value) {
  if constexpr (HasFields<const T>) {
    visit_fields(value, [&](const char* name, const auto& member) {
      put(texts, path.empty() ? name : path + "." + name, member);
    });
  } else if constexpr (is_optional<T>) {
    if (value) put(texts, path, *value);
  } else if constexpr (is_list<T>) {
    texts[path] = fmt::format("{} entries", value.size());
    for (std::size_t i = 0; i < value.size(); ++i) {
      put(texts, fmt::format("{}[{}]", path, i), value[i]);
    }
  } else if constexpr (std::is_enum_v<T>) {
    texts[path] = word_of(value);
  } else if constexpr (std::is_same_v<T, std::filesystem::path>) {
    texts[path] = quoted(value.filename().string());
  } else if constexpr (std::is_same_v<T, std::string>) {
    texts[path] = quoted(value);
  } else {
    static_assert(std::is_arithmetic_v<T>, "a field of this kind has no text yet");
    texts[path] = fmt::format("{}", value);
  }
}

// The fields that differ from those of a value as it is made.
template <class T>
std::string changed_fields(const char* path, const T& value) {
  FieldTexts usual, texts;
  put(usual, path, T{});
  put(texts, path, value);
  std::string lines;
  for (const auto& [name, text] : texts) {
    const auto known = usual.find(name);
    if (known == usual.end() || known->second != text) lines += fmt::format("{}={}\n", name, text);
  }
  return lines;
}

// What the display pictures of bracketed shots are named: those of their brightness alone, as they
// were made before there was a look, and those of a look.
constexpr std::string_view kDisplayCurve = "display_curve=2\n";
constexpr std::string_view kFinished = "display_curve=3\n";
constexpr std::string_view kFinishedFrames = "frames_finished=1\n";

// Looks that give the same bytes, one for all: only what is used of the wish is left.
LookWish used_look(LookWish look, bool bracketed) {
  if (!has_look(look, bracketed)) return {};
  LookWish used{.match = look.match, .warmer_ev = look.warmer_ev};
  // What the run decided holds all that was wished.
  if (look.match == LookMatch::run && look.by_run)
    return {.match = look.match, .by_run = look.by_run};
  if (look.match != LookMatch::automatic)
    used.match = bracketed ? LookMatch::automatic : LookMatch::shot;
  return used;
}

}  // namespace

std::string text_of(const ShotWishes& wishes) { return changed_fields("", wishes); }

std::string shot_key_text(const ShotFiles& files, const ShotWishes& wishes) {
  std::string text = fmt::format("seamwright {}\n", SEAMWRIGHT_VERSION);
  text += changed_fields("intake", files.intake);
  if (files.grouped) text += changed_fields("brackets", files.grouped->series.lenses);
  const bool bracketed = files.bracketed();
  const bool finished = has_look(wishes.look, bracketed);
  if (bracketed) text += finished ? kFinished : kDisplayCurve;
  if (!bracketed && finished) text += kFinishedFrames;
  ShotWishes used = wishes;
  used.look = used_look(wishes.look, bracketed);
  return text + text_of(used);
}

}  // namespace seamwright
