#include "sensors/utf8.h"

#include <doctest/doctest.h>

#include <string>

namespace torpor {
namespace {

constexpr std::size_t kAll = std::string_view::npos;

// The character with this number, encoded without any check.
std::string encoded(std::uint32_t code) {
  const auto continuation = [&](int shift) {
    return static_cast<char>(0x80U | ((code >> shift) & 0x3FU));
  };
  if (code < 0x80) return {static_cast<char>(code)};
  if (code < 0x800) return {static_cast<char>(0xC0U | (code >> 6)), continuation(0)};
  if (code < 0x10000) {
    return {static_cast<char>(0xE0U | (code >> 12)), continuation(6), continuation(0)};
  }
  return {static_cast<char>(0xF0U | (code >> 18)), continuation(12), continuation(6),
          continuation(0)};
}

TEST_CASE("every Unicode scalar value is UTF-8, every surrogate and higher value is not") {
  for (std::uint32_t code = 0; code < 0x120000; ++code) {
    const std::string text = encoded(code);
    const bool scalar = code < 0xD800 || (code > 0xDFFF && code <= 0x10FFFF);
    const std::size_t expected = scalar ? text.size() : 0;
    if (utf8_character_length(text) != expected) FAIL("U+" << code);
    const Utf8Character read = utf8_character_at(text, 0);
    const bool right = scalar ? read.valid && read.value == code && read.length == text.size()
                              : !read.valid && read.length == 1;
    if (!right) FAIL("U+" << code);
  }
}

TEST_CASE("overlong, cut and stray bytes are found where they stand") {
  CHECK(find_not_utf8("") == kAll);
  CHECK(find_not_utf8("21.5 °C") == kAll);
  CHECK(find_not_utf8("\xC0\x80") == 0);          // overlong NUL
  CHECK(find_not_utf8("ab\xE0\x80\xAF") == 2);    // overlong slash
  CHECK(find_not_utf8("\xF0\x8F\xBF\xBF") == 0);  // overlong U+FFFF
  CHECK(find_not_utf8("\xF4\x90\x80\x80") == 0);  // U+110000
  CHECK(find_not_utf8("a\x80") == 1);             // continuation without a lead
  CHECK(find_not_utf8("\xC3") == 0);              // cut
  CHECK(find_not_utf8("t\xE2\x82") == 1);         // cut
  CHECK(find_not_utf8("\xE2\x28\xA1") == 0);      // no continuation
  CHECK(find_not_utf8("\xFF\xFE") == 0);
  CHECK(find_not_utf8(std::string_view("\0a", 2)) == kAll);
  CHECK(utf8_character_length("") == 0);
}

TEST_CASE("a byte that begins no character is read as itself") {
  const Utf8Character stray = utf8_character_at("a\xFF", 1);
  CHECK_FALSE(stray.valid);
  CHECK(stray.value == 0xFF);
  CHECK(stray.length == 1);
}

// Unicode 15, EastAsianWidth.txt (from memory).
TEST_CASE("wide characters take two columns, combining marks none") {
  for (const char32_t wide : {U'\u1100', U'漢', U'か', U'한', U'！', U'￥', U'🍚', U'𠀀'}) {
    CAPTURE(static_cast<std::uint32_t>(wide));
    CHECK(columns_of(wide) == 2);
  }
  for (const char32_t mark : {U'\u0301', U'\u05B4', U'\u1DC4', U'\u200B', U'\u20DD', U'\uFE0F'}) {
    CAPTURE(static_cast<std::uint32_t>(mark));
    CHECK(columns_of(mark) == 0);
  }
  for (const char32_t plain : {U'a', U'é', U'°', U'ж', U'„', U'｡'}) {
    CAPTURE(static_cast<std::uint32_t>(plain));
    CHECK(columns_of(plain) == 1);
  }
}

}  // namespace
}  // namespace torpor
