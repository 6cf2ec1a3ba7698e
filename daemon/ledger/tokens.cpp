#include "daemon/ledger/tokens.h"

#include <fmt/format.h>

#include <algorithm>

#include "sensors/trimmed.h"
#include "sensors/utf8.h"

namespace torpor::daemon {

namespace {

bool is_blank(char32_t point) {
  return point == ' ' || point == 0xA0 || point == 0x202F || (point >= 0x2000 && point <= 0x200A);
}

// Hyphens and dashes that a phone's keyboard puts in place of '-'.
bool is_dash(char32_t point) { return (point >= 0x2010 && point <= 0x2015) || point == 0x2212; }

bool is_typographic_quote(char32_t point) {
  return point == 0x201C || point == 0x201D || point == 0x201E || point == 0x201F ||
         point == 0xAB || point == 0xBB;
}

bool is_quote(char32_t point) { return point == '"' || is_typographic_quote(point); }

// Where the quoted text that starts at `from` ends: a straight quote closes a straight one, so that
// typographic quotes may stand inside; a phone that turned only one of the two is understood as
// well.
std::size_t closing_quote(std::string_view text, std::size_t from, bool straight) {
  std::size_t typographic = std::string_view::npos;
  for (std::size_t position = from; position < text.size();) {
    const std::size_t here = position;
    const char32_t point = next_code_point(text, position);
    if (point == '"') return here;
    if (!is_typographic_quote(point)) continue;
    if (!straight) return here;
    if (typographic == std::string_view::npos) typographic = here;
  }
  return typographic;
}

// Splits text that is known to be UTF-8 without control characters.
class Splitter {
 public:
  explicit Splitter(std::string_view text) : text_(text) {}

  tl::expected<std::vector<Token>, std::string> run() {
    while (position_ < text_.size()) {
      const std::size_t here = position_;
      const char32_t point = next_code_point(text_, position_);
      if (is_quote(point)) {
        if (!take_quoted(point == '"')) {
          return tl::unexpected(std::string("a quote is opened and not closed"));
        }
      } else if (is_blank(point)) {
        end_word();
      } else if (point == ',' && !within_number(here)) {
        end_word();
        tokens_.push_back({Token::Kind::comma, ","});
      } else if (is_dash(point)) {
        word_ += '-';
      } else {
        word_ += text_.substr(here, position_ - here);
      }
    }
    drop_full_stop();
    end_word();
    return std::move(tokens_);
  }

 private:
  bool take_quoted(bool straight) {
    end_word();
    const std::size_t start = position_;
    const std::size_t end = closing_quote(text_, start, straight);
    if (end == std::string_view::npos) return false;
    tokens_.push_back(
        {Token::Kind::quoted, std::string(trimmed(text_.substr(start, end - start)))});
    position_ = end;
    (void)next_code_point(text_, position_);  // past the closing quote
    return true;
  }

  bool within_number(std::size_t comma) const {
    return !word_.empty() && is_digit(word_.back()) && comma + 1 < text_.size() &&
           is_digit(text_[comma + 1]);
  }

  // Dictation ends a sentence with a full stop; no word of the grammar ends in one.
  void drop_full_stop() {
    if (!word_.empty() && word_.back() == '.') word_.pop_back();
  }

  void end_word() {
    if (word_.empty()) return;
    tokens_.push_back({Token::Kind::word, std::move(word_)});
    word_.clear();
  }

  std::string_view text_;
  std::size_t position_ = 0;
  std::string word_;
  std::vector<Token> tokens_;
};

}  // namespace

char32_t next_code_point(std::string_view text, std::size_t& position) {
  const Utf8Character character = utf8_character_at(text, position);
  position += character.length;
  return character.valid ? character.value : kNotUtf8;
}

bool is_control(char32_t point) {
  return point < 0x20 || (point >= 0x7F && point <= 0x9F) || point == 0x061C || point == 0x200B ||
         point == 0x200E || point == 0x200F || (point >= 0x2028 && point <= 0x202E) ||
         (point >= 0x2060 && point <= 0x206F) || point == 0xFEFF ||
         (point >= 0xFFF9 && point <= 0xFFFB);
}

std::string lower_case(std::string_view text) {
  std::string lower(text);
  std::transform(lower.begin(), lower.end(), lower.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return lower;
}

bool same_word(std::string_view a, std::string_view b) {
  return a.size() == b.size() && lower_case(a) == lower_case(b);
}

tl::expected<std::vector<Token>, std::string> split_sentence(std::string_view text) {
  const std::string_view sentence = trimmed(text);
  for (std::size_t position = 0; position < sentence.size();) {
    const char32_t point = next_code_point(sentence, position);
    if (point == kNotUtf8) return tl::unexpected(std::string("the text is not UTF-8"));
    if (is_control(point)) {
      return tl::unexpected(
          fmt::format("the text holds a control character (U+{:04X}); send one line of plain text",
                      static_cast<unsigned>(point)));
    }
  }
  return Splitter(sentence).run();
}

}  // namespace torpor::daemon
