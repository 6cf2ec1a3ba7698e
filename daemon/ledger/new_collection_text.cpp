#include "daemon/ledger/new_collection_text.h"

#include <array>
#include <chrono>
#include <string>
#include <utility>

namespace torpor::daemon {

namespace {

constexpr std::size_t kLongestNote = 200;  // a line of a notebook

template <std::string NewCollection::*member>
FieldRead read_note(Cursor& cursor, NewCollection& collection, const LocalTime&) {
  return cursor.take_text("the text", kLongestNote).map([&](std::string text) {
    collection.*member = std::move(text);
  });
}

FieldRead read_lay(Cursor& cursor, NewCollection& collection, const LocalTime&) {
  // Rice that lies out for a year is soil.
  constexpr double kLongestLay = 366.0 * 24.0;
  const auto lay_h = cursor.take_measure(Dimension::duration);
  if (!lay_h) return tl::unexpected(lay_h.error());
  if (*lay_h <= 0.0 || *lay_h > kLongestLay) {
    return tl::unexpected(std::string("it lies out for more than no time and at most a year"));
  }
  collection.lay =
      std::chrono::round<Duration>(std::chrono::duration<double, std::ratio<3600>>(*lay_h));
  return {};
}

FieldRead read_laid_rice(Cursor& cursor, NewCollection& collection, const LocalTime&) {
  return cursor.take_weight(Substance::rice).map([&](Grams weight) { collection.rice = weight; });
}

FieldRead read_gathered(Cursor& cursor, NewCollection& collection, const LocalTime& zone) {
  return cursor.take_time(zone).map([&](Instant gathered) { collection.gathered = gathered; });
}

constexpr std::array kCollectionFields = {
    Field<NewCollection>{"where", "where \"PLACE\"", "", read_note<&NewCollection::where>},
    Field<NewCollection>{"trees", "trees \"WHAT GROWS THERE\"", "trees \"beech, fern below\"",
                         read_note<&NewCollection::trees>},
    Field<NewCollection>{"weather", "weather \"TEXT\"", "weather \"two dry days, 12 °C\"",
                         read_note<&NewCollection::weather>},
    Field<NewCollection>{"lay", "lay TIME, how long it lay out", "lay 5 d", read_lay},
    Field<NewCollection>{"rice", "rice WEIGHT, as it was laid out", "rice 1200 g", read_laid_rice},
    Field<NewCollection>{"looked", "looked \"WHAT IT LOOKED AND SMELLED LIKE\"",
                         "looked \"white fluff, sweet\"", read_note<&NewCollection::looked>},
    Field<NewCollection>{"gathered", "gathered DATE", "gathered 2026-02-20", read_gathered},
};

}  // namespace

std::span<const Field<NewCollection>> new_collection_fields() { return kCollectionFields; }

}  // namespace torpor::daemon
