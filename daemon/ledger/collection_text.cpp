#include "daemon/ledger/collection_text.h"

#include <fmt/format.h>

#include <chrono>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/telling.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kMostListed = 40;  // in one line
// Rice is laid out by the box: more was told as kg what is g, less the other way round.
constexpr Grams kMostRice{50'000};
constexpr Grams kLeastRice{10};

std::string span_text(Duration span) {
  const double hours = std::chrono::duration<double, std::ratio<3600>>(span).count();
  return hours < 48.0 ? fmt::format("{:.3g} h", hours) : fmt::format("{:.3g} d", hours / 24.0);
}

std::string made_text(const std::vector<std::string>& jars) {
  return jars.empty() ? std::string("no jar was made from it yet")
                      : fmt::format("made from it: {}", listed(jars, kMostListed));
}

}  // namespace

std::string collection_words(const Collection& collection, const LocalTime& zone) {
  const NewCollection& made = collection.made;
  std::string words = fmt::format("gathered {} at \"{}\"", date_of(collection.gathered, zone),
                                  harmless(made.where));
  const auto add = [&](std::string_view name, const std::string& value) {
    if (!value.empty()) words += fmt::format("; {} {}", name, harmless(value));
  };
  add("trees", made.trees);
  add("weather", made.weather);
  if (made.lay) add("lay out", span_text(*made.lay));
  if (made.rice) add("rice", grams_text(*made.rice));
  add("looked", made.looked);
  return words;
}

std::optional<std::string> doubt_about(const NewCollection& collection) {
  if (!collection.rice) return std::nullopt;
  const Grams rice = *collection.rice;
  if (rice > kMostRice) {
    return fmt::format("`rice` is {}, more than is laid out at once; is it {}?", grams_text(rice),
                       grams_text(Grams(rice.value() / 1000)));
  }
  if (rice < kLeastRice) {
    return fmt::format("`rice` is only {}; is it {}?", grams_text(rice),
                       grams_text(Grams(rice.value() * 1000)));
  }
  return std::nullopt;
}

std::string collections_answer(const Ledger& ledger, const LocalTime& zone) {
  const auto& all = ledger.collections();
  if (all.empty()) return "no collection is told yet";
  std::vector<std::string> parts;
  for (const auto& [id, collection] : all) {
    const std::size_t jars = ledger.jars_from(id).size();
    parts.push_back(fmt::format("{} ({}, {}, {} jar{})", id, harmless(collection.made.where, 60),
                                date_of(collection.gathered, zone), jars, jars == 1 ? "" : "s"));
  }
  return fmt::format("{} collection{}: {}", all.size(), all.size() == 1 ? "" : "s",
                     listed(parts, kMostListed));
}

std::string collection_answer(const Collection& collection, const Ledger& ledger,
                              const LocalTime& zone) {
  const std::string& id = collection.made.collection;
  return fmt::format("{}: {}; {}", id, collection_words(collection, zone),
                     made_text(ledger.jars_from(id)));
}

}  // namespace torpor::daemon
