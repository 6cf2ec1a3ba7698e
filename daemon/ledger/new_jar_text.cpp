#include "daemon/ledger/new_jar_text.h"

#include <fmt/format.h>

#include <array>
#include <string>
#include <vector>

#include "config/fault.h"
#include "daemon/ledger/choice_text.h"
#include "daemon/ledger/vocabulary.h"

namespace torpor::daemon {

namespace {

using FieldRead = tl::expected<void, std::string>;  // error: one clause

constexpr std::size_t kLongestJarPlace = 200;
constexpr std::size_t kLongestStage = 32;
constexpr std::size_t kLongestOrigin = 400;

struct Field {
  std::string_view word;
  std::string_view form;
  std::string_view example;  // goes behind "new jar B-07 in cellar/shelf-2 "
  FieldRead (*read)(Cursor& cursor, NewJar& jar, const LocalTime& zone);
};

template <std::optional<Grams> NewJar::*member, Substance substance>
FieldRead read_mass(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return cursor.take_weight(substance).map([&](Grams weight) { jar.*member = weight; });
}

FieldRead read_empty(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return cursor.take_measure(Dimension::mass).map([&](double grams) { jar.empty = Grams(grams); });
}

FieldRead read_place(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return cursor.take_text("the place", kLongestJarPlace).map([&](std::string place) {
    jar.place = std::move(place);
  });
}

FieldRead read_stage(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return cursor.take_text("the stage", kLongestStage).map([&](std::string stage) {
    jar.stage = std::move(stage);
  });
}

FieldRead read_origin(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return cursor.take_text("the origin", kLongestOrigin).map([&](std::string origin) {
    jar.origin = std::move(origin);
  });
}

// A word, or the weight of the rice as it came from the pot.
FieldRead read_cooked(Cursor& cursor, NewJar& jar, const LocalTime& zone) {
  if (cursor.at_number()) {
    return read_mass<&NewJar::cooked_weight, Substance::rice>(cursor, jar, zone);
  }
  return read_choice(cursor, "cooked", cooked_words()).map([&](CookedWord cooked) {
    jar.cooked = cooked;
  });
}

FieldRead read_sugar_kind(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return read_choice(cursor, "sugar-kind", sugar_kinds()).map([&](SugarKind kind) {
    jar.sugar_kind = kind;
  });
}

// `vessel glass 3.8 l`, `vessel glass`, `vessel 3.8 l`.
FieldRead read_vessel(Cursor& cursor, NewJar& jar, const LocalTime&) {
  if (!cursor.at_number()) {
    const auto vessel = read_choice(cursor, "vessel", vessels());
    if (!vessel) return tl::unexpected(vessel.error());
    jar.vessel = *vessel;
  }
  if (!cursor.at_number()) return {};
  return cursor.take_measure(Dimension::volume).map([&](double ml) { jar.volume_ml = ml; });
}

FieldRead read_mouth(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return cursor.take_measure(Dimension::length).map([&](double mm) { jar.mouth_mm = mm; });
}

FieldRead read_cover(Cursor& cursor, NewJar& jar, const LocalTime&) {
  return read_choice(cursor, "cover", covers()).map([&](Cover cover) { jar.cover = cover; });
}

FieldRead read_closed(Cursor& cursor, NewJar& jar, const LocalTime& zone) {
  return cursor.take_time(zone).map([&](Instant closed) { jar.closed = closed; });
}

constexpr std::array kFields = {
    Field{"in", "in PLACE", "", read_place},
    Field{"stage", "stage IMO-1 to IMO-4", "stage IMO-2", read_stage},
    Field{"rice", "rice WEIGHT, of the colonised rice as mixed", "rice 1200 g",
          read_mass<&NewJar::rice, Substance::rice>},
    Field{"raw", "raw WEIGHT, of the dry rice before cooking", "raw 560 g",
          read_mass<&NewJar::raw, Substance::raw_rice>},
    Field{"cooked", "cooked dry, firm or soft, or cooked WEIGHT", "cooked firm", read_cooked},
    Field{"sugar-kind", "sugar-kind white, brown or raw", "sugar-kind brown", read_sugar_kind},
    Field{"sugar", "sugar WEIGHT, without the topping", "sugar 1250 g",
          read_mass<&NewJar::sugar, Substance::sugar>},
    Field{"topping", "topping WEIGHT, of the sugar left unmixed on top", "topping 60 g",
          read_mass<&NewJar::topping, Substance::sugar>},
    Field{"vessel", "vessel glass, ceramic, clay or plastic, and its volume", "vessel glass 3.8 l",
          read_vessel},
    Field{"empty", "empty WEIGHT, of the vessel without contents", "empty 1450 g", read_empty},
    Field{"mouth", "mouth WIDTH in mm, cm or in", "mouth 11 cm", read_mouth},
    Field{"cover",
          "cover tissue, cloth, paper, kraft, double kraft, waxed paper, film, lid turned back, "
          "tight lid or airlock",
          "cover kraft", read_cover},
    Field{"closed", "closed DATE", "closed 2026-03-02", read_closed},
    Field{"origin", "origin \"TEXT\"", "origin \"beech hollow, north slope\"", read_origin},
};

const Field* field_called(std::string_view word) {
  for (const Field& field : kFields) {
    if (same_word(field.word, word)) return &field;
  }
  return nullptr;
}

// Where a value should stand, the next field or ending stands: the value was forgotten. Of the
// words that name a field only `raw` is also a value, of `sugar-kind`.
bool value_is_missing(const Cursor& cursor, const Field& field) {
  if (cursor.at_end() || cursor.is_word("at") || cursor.is_word("by")) return true;
  const bool kind = field.read == &read_sugar_kind && cursor.is_word("raw");
  return !kind && field_called(cursor.word()) != nullptr;
}

std::string example_with(const Field& field) {
  constexpr std::string_view kStart = "new jar B-07 in cellar/shelf-2";
  return field.example.empty() ? std::string(kStart) : fmt::format("{} {}", kStart, field.example);
}

SentenceRefusal unknown_field(const Cursor& cursor) {
  std::vector<std::string> words;
  for (const Field& field : kFields) words.emplace_back(field.word);
  const std::string nearest = config::nearest_word(std::string(cursor.word()), words);
  if (const Field* field = field_called(nearest)) {
    return refusal(fmt::format("{} is not understood here; is it `{}`?", cursor.found(), nearest),
                   field->form, example_with(*field));
  }
  return refusal(fmt::format("{} is not understood here; text of several words goes in quotes",
                             cursor.found()),
                 kNewJarForm, kNewJarExample);
}

}  // namespace

tl::expected<void, SentenceRefusal> NewJarReader::read_id(Cursor& cursor) {
  static_assert(kFields.size() <= kMostFields);
  if (cursor.at_end() || field_called(cursor.word()) != nullptr) {
    return tl::unexpected(refusal("the new jar's id is missing", kNewJarForm, kNewJarExample));
  }
  const std::string_view id = cursor.word();
  if (!is_jar_id(id)) {
    return tl::unexpected(
        refusal(fmt::format("{} cannot be a jar's id: an id is 1 to 32 letters, digits, - and _",
                            cursor.found()),
                kNewJarForm, kNewJarExample));
  }
  if (is_reserved_word(id)) {
    return tl::unexpected(refusal(
        fmt::format("{} cannot be a jar's id: it is a word of the sentences", cursor.found()),
        kNewJarForm, kNewJarExample));
  }
  jar_.jar = id;
  cursor.skip();
  return {};
}

tl::expected<void, SentenceRefusal> NewJarReader::read_field(Cursor& cursor) {
  const Field* field = field_called(cursor.word());
  if (cursor.is_word("sugar") && same_word(cursor.word(1), "kind")) {
    field = field_called("sugar-kind");
    cursor.skip();
  }
  if (field == nullptr) return tl::unexpected(unknown_field(cursor));
  cursor.skip();

  const auto row = static_cast<std::size_t>(field - kFields.data());
  if (seen_.test(row)) {
    return tl::unexpected(
        refusal(fmt::format("`{}` is said twice", field->word), field->form, example_with(*field)));
  }
  seen_.set(row);
  if (value_is_missing(cursor, *field)) {
    return tl::unexpected(refusal(fmt::format("what follows `{}` is missing", field->word),
                                  field->form, example_with(*field)));
  }
  const FieldRead outcome = field->read(cursor, jar_, zone_);
  if (outcome) return {};
  return tl::unexpected(refusal(fmt::format("`{}`: {}", field->word, outcome.error()), field->form,
                                example_with(*field)));
}

tl::expected<NewJar, SentenceRefusal> NewJarReader::finish() const {
  if (jar_.place.empty()) {
    return tl::unexpected(refusal(fmt::format("where {} stands is missing", jar_.jar), kNewJarForm,
                                  fmt::format("new jar {} in cellar/shelf-2", jar_.jar)));
  }
  return jar_;
}

}  // namespace torpor::daemon
