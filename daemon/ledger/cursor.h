// The place reached in a sentence's tokens, with the small steps that every verb needs. For the
// readers of sentences only.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/answer_text.h"
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
  tl::expected<double, std::string> take_measure(Dimension dimension);

 private:
  std::vector<Token> tokens_;
  std::size_t next_ = 0;
};

}  // namespace torpor::daemon
