// The place reached in a sentence's tokens, with the small steps that every verb needs. For the
// readers of sentences only.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/cups.h"
#include "daemon/ledger/local_time.h"
#include "daemon/ledger/measures_text.h"
#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

class Cursor {
 public:
  explicit Cursor(std::vector<Token> tokens) : tokens_(std::move(tokens)) {}

  [[nodiscard]] bool at_end() const { return next_ == tokens_.size(); }
  // nullptr past the end.
  [[nodiscard]] const Token* peek(std::size_t ahead = 0) const {
    return next_ + ahead < tokens_.size() ? &tokens_[next_ + ahead] : nullptr;
  }
  // The next token if it is a word, else empty.
  [[nodiscard]] std::string_view word(std::size_t ahead = 0) const {
    const Token* token = peek(ahead);
    return token != nullptr && token->kind == Token::Kind::word ? std::string_view(token->text)
                                                                : std::string_view();
  }
  [[nodiscard]] bool is_word(std::string_view keyword) const { return same_word(word(), keyword); }
  void skip(std::size_t count = 1) { next_ = std::min(next_ + count, tokens_.size()); }

  // How many words the phrase takes if it stands `ahead` tokens on; 0: it does not.
  [[nodiscard]] std::size_t matches(std::string_view phrase, std::size_t ahead = 0) const;
  // Takes the phrase, one or several words parted by blanks, if it stands next.
  bool take(std::string_view phrase);
  // Commas between the parts of a sentence carry no meaning.
  void skip_commas();
  // What stands next, for a refusal: "\"abc\"" or "nothing".
  [[nodiscard]] std::string found() const;

  // A word, or a quoted text, of 1 to `longest` bytes. Error: one clause.
  tl::expected<std::string, std::string> take_text(std::string_view what, std::size_t longest);
  // A local time or RFC 3339; date and time may be parted by a blank. Error: one clause.
  tl::expected<Instant, std::string> take_time(const LocalTime& zone);
  // g, ml, mm, h or %; numbers also in words.
  tl::expected<double, std::string> take_measure(Dimension dimension);
  // A weight, also in cups, which leaves a note.
  tl::expected<Grams, std::string> take_weight(Substance substance);
  // A whole number from 1 on, in digits ("12", "#12") or words. nullopt: none stands next.
  std::optional<std::uint64_t> take_count();
  // True before digits, a sign or a number in words.
  [[nodiscard]] bool at_number() const;

  // What was taken for granted on the way.
  [[nodiscard]] const std::vector<std::string>& notes() const { return notes_; }

 private:
  // The words from here on with numbers in words made digits, and how many words each was.
  struct Normal {
    std::vector<std::string> words;
    std::vector<std::size_t> counts;
  };
  [[nodiscard]] Normal normal_words() const;

  std::vector<Token> tokens_;
  std::size_t next_ = 0;
  std::vector<std::string> notes_;
};

}  // namespace torpor::daemon
