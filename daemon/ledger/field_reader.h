// The fields of a registration (`new jar`, `new collection`, `split`): a word and what it says, in
// any order, each at most once. For the readers of sentences only.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <bitset>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

#include "config/fault.h"
#include "daemon/ledger/cursor.h"
#include "daemon/ledger/sentence.h"
#include "daemon/ledger/vocabulary.h"

namespace torpor::daemon {

using FieldRead = tl::expected<void, std::string>;  // error: one clause

template <class Made>
struct Field {
  std::string_view word;  // a dash in it may also be told as a blank
  std::string_view form;
  std::string_view example;  // goes behind FieldForms::start
  FieldRead (*read)(Cursor& cursor, Made& made, const LocalTime& zone);
  std::string_view value_like_a_field = {};  // a value that is also a field's word
};

struct FieldForms {
  std::string_view what;           // "jar"
  std::string_view form, example;  // of the whole sentence
  std::string_view start;          // "new jar B-07 in cellar/shelf-2": parses as it is
};

template <class Made>
class FieldReader {
 public:
  // All outlive it.
  FieldReader(std::span<const Field<Made>> fields, const FieldForms& forms, const LocalTime& zone)
      : fields_(fields), forms_(forms), zone_(zone) {}

  // The id that stands next.
  [[nodiscard]] tl::expected<std::string, SentenceRefusal> read_id(Cursor& cursor) const {
    const auto refuse = [this](std::string_view what) {
      return tl::unexpected(refusal(what, forms_.form, forms_.example));
    };
    if (cursor.at_end() || called(cursor.word()) != nullptr) {
      return refuse(fmt::format("the new {}'s id is missing", forms_.what));
    }
    std::string id(cursor.word());
    if (!is_jar_id(id)) {
      return refuse(fmt::format("{} cannot be a {}'s id: an id is 1 to 32 letters, digits, - and _",
                                cursor.found(), forms_.what));
    }
    if (is_reserved_word(id)) {
      return refuse(fmt::format("{} cannot be a {}'s id: it is a word of the sentences",
                                cursor.found(), forms_.what));
    }
    cursor.skip();
    return id;
  }

  // The field that begins at the cursor.
  [[nodiscard]] tl::expected<void, SentenceRefusal> read_field(Cursor& cursor, Made& made) {
    const auto [field, words] = next(cursor);
    if (field == nullptr) return tl::unexpected(unknown(cursor));
    cursor.skip(words);
    const auto refuse = [&, field = field](std::string_view what) {
      return tl::unexpected(refusal(what, field->form, example_with(*field)));
    };
    const auto row = static_cast<std::size_t>(field - fields_.data());
    if (seen_.test(row)) return refuse(fmt::format("`{}` is said twice", field->word));
    seen_.set(row);
    if (value_is_missing(cursor, *field)) {
      return refuse(fmt::format("what follows `{}` is missing", field->word));
    }
    const FieldRead outcome = field->read(cursor, made, zone_);
    if (outcome) return {};
    return refuse(fmt::format("`{}`: {}", field->word, outcome.error()));
  }

 private:
  static constexpr std::size_t kMostFields = 24;

  struct Found {
    const Field<Made>* field = nullptr;
    std::size_t words = 0;
  };

  [[nodiscard]] const Field<Made>* called(std::string_view word) const {
    const auto found = std::find_if(fields_.begin(), fields_.end(), [&](const Field<Made>& field) {
      return same_word(field.word, word);
    });
    return found == fields_.end() ? nullptr : &*found;
  }

  // The longest that stands next: `sugar kind` before `sugar`.
  [[nodiscard]] Found next(const Cursor& cursor) const {
    Found longest{called(cursor.word()), 1};
    for (const Field<Made>& field : fields_) {
      std::string parted(field.word);
      std::replace(parted.begin(), parted.end(), '-', ' ');
      const std::size_t words = cursor.matches(parted);
      if (words > longest.words) longest = {&field, words};
    }
    return longest;
  }

  // Where a value should stand, the next field or ending stands: the value was forgotten.
  [[nodiscard]] bool value_is_missing(const Cursor& cursor, const Field<Made>& field) const {
    if (cursor.at_end() || cursor.is_word("at") || cursor.is_word("by")) return true;
    const bool is_value =
        !field.value_like_a_field.empty() && cursor.is_word(field.value_like_a_field);
    return !is_value && called(cursor.word()) != nullptr;
  }

  [[nodiscard]] std::string example_with(const Field<Made>& field) const {
    return field.example.empty() ? std::string(forms_.start)
                                 : fmt::format("{} {}", forms_.start, field.example);
  }

  [[nodiscard]] SentenceRefusal unknown(const Cursor& cursor) const {
    std::vector<std::string> words;
    for (const Field<Made>& field : fields_) words.emplace_back(field.word);
    const std::string nearest = config::nearest_word(std::string(cursor.word()), words);
    if (const Field<Made>* field = called(nearest)) {
      return refusal(fmt::format("{} is not understood here; is it `{}`?", cursor.found(), nearest),
                     field->form, example_with(*field));
    }
    return refusal(fmt::format("{} is not understood here; text of several words goes in quotes",
                               cursor.found()),
                   forms_.form, forms_.example);
  }

  std::span<const Field<Made>> fields_;
  const FieldForms& forms_;
  const LocalTime& zone_;
  std::bitset<kMostFields> seen_;  // by row of `fields_`
};

}  // namespace torpor::daemon
