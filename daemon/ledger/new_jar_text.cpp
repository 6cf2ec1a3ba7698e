#include "daemon/ledger/new_jar_text.h"

#include <fmt/format.h>

#include <array>
#include <string>
#include <utility>

#include "daemon/ledger/choice_text.h"
#include "daemon/ledger/cover_text.h"
#include "daemon/ledger/vocabulary.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kLongestJarPlace = 200;
constexpr std::size_t kLongestStage = 32;
constexpr std::size_t kLongestOrigin = 400;
constexpr std::size_t kLongestJarId = 32;
constexpr std::size_t kMostParents = 12;  // more is a heap, not a jar

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
  return read_cover_words(cursor).map([&](Cover cover) { jar.cover = cover; });
}

FieldRead read_closed(Cursor& cursor, NewJar& jar, const LocalTime& zone) {
  return cursor.take_time(zone).map([&](Instant closed) { jar.closed = closed; });
}

// A comma parts ids as it parts fields: what stands behind it is an id unless it is a field's word.
bool takes_another(Cursor& cursor) {
  const Token* comma = cursor.peek();
  const bool parted = comma != nullptr && comma->kind == Token::Kind::comma;
  if (!parted || !is_jar_id(cursor.word(1)) || is_reserved_word(cursor.word(1))) return false;
  cursor.skip_commas();
  return true;
}

// `from C-01`, `from B-03 and B-05`: jars and collections.
FieldRead read_from(Cursor& cursor, NewJar& jar, const LocalTime&) {
  do {
    const std::string found = cursor.found();
    auto id = cursor.take_text("what it comes from", kLongestJarId);
    if (!id) return tl::unexpected(id.error());
    if (!is_jar_id(*id)) {
      return tl::unexpected(
          fmt::format("{} cannot be an id: an id is 1 to 32 letters, digits, - and _", found));
    }
    if (jar.from.size() == kMostParents) {
      return tl::unexpected(fmt::format("a jar comes from at most {} others", kMostParents));
    }
    jar.from.push_back(std::move(*id));
  } while (cursor.take("and") || takes_another(cursor));
  return {};
}

// What a jar that is split off says of itself, too.
constexpr Field<NewJar> kIn{"in", "in PLACE", "", read_place};
constexpr Field<NewJar> kVessel{"vessel", "vessel glass, ceramic, clay or plastic, and its volume",
                                "vessel glass 3.8 l", read_vessel};
constexpr Field<NewJar> kEmpty{"empty", "empty WEIGHT, of the vessel without contents",
                               "empty 1450 g", read_empty};
constexpr Field<NewJar> kMouth{"mouth", "mouth WIDTH in mm, cm or in", "mouth 11 cm", read_mouth};
constexpr Field<NewJar> kCover{
    "cover",
    "cover tissue, cloth, paper, kraft, double kraft, waxed paper, film, lid turned back, "
    "tight lid or airlock",
    "cover kraft", read_cover};

constexpr std::array kNewJarFields = {
    kIn,
    Field<NewJar>{"stage", "stage IMO-1 to IMO-4", "stage IMO-2", read_stage},
    Field<NewJar>{"rice", "rice WEIGHT, of the colonised rice as mixed", "rice 1200 g",
                  read_mass<&NewJar::rice, Substance::rice>},
    Field<NewJar>{"raw", "raw WEIGHT, of the dry rice before cooking", "raw 560 g",
                  read_mass<&NewJar::raw, Substance::raw_rice>},
    Field<NewJar>{"cooked", "cooked dry, firm or soft, or cooked WEIGHT", "cooked firm",
                  read_cooked},
    Field<NewJar>{"sugar-kind", "sugar-kind white, brown or raw", "sugar-kind brown",
                  read_sugar_kind, "raw"},
    Field<NewJar>{"sugar", "sugar WEIGHT, without the topping", "sugar 1250 g",
                  read_mass<&NewJar::sugar, Substance::sugar>},
    Field<NewJar>{"topping", "topping WEIGHT, of the sugar left unmixed on top", "topping 60 g",
                  read_mass<&NewJar::topping, Substance::sugar>},
    kVessel,
    kEmpty,
    kMouth,
    kCover,
    Field<NewJar>{"closed", "closed DATE", "closed 2026-03-02", read_closed},
    Field<NewJar>{"origin", "origin \"TEXT\"", "origin \"beech hollow, north slope\"", read_origin},
    Field<NewJar>{"from", "from ID, or from ID and ID", "from C-01", read_from},
};
constexpr std::array kSplitFields = {kIn, kVessel, kEmpty, kMouth, kCover};

}  // namespace

std::span<const Field<NewJar>> new_jar_fields() { return kNewJarFields; }
std::span<const Field<NewJar>> split_fields() { return kSplitFields; }

}  // namespace torpor::daemon
