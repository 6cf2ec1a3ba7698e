// A small invented cellar for the ledger's tests: places, alerts, a zone, and sentences told to it.
#pragma once

#include <doctest/doctest.h>

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "rules/culture/profiles.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon::test {

// Throws on a time that is written wrong: usable before any test runs.
inline Instant utc(std::string_view text) { return parse_rfc3339(text).value(); }

inline LocalTime zone_of(std::string_view name) {
  auto zone = LocalTime::in_zone(name);
  REQUIRE_MESSAGE(zone, (zone ? std::string() : zone.error()));
  return *zone;
}

inline Sentence parsed(std::string_view text, const LocalTime& zone) {
  auto sentence = parse_sentence(text, zone);
  REQUIRE_MESSAGE(sentence, (std::string(text) + ": " + (sentence ? "" : sentence.error().text)));
  return *sentence;
}

// The example at the end of a refusal.
inline std::string example_in(const std::string& refusal) {
  const std::size_t mark = refusal.rfind(kExampleMark);
  REQUIRE_MESSAGE(mark != std::string::npos, refusal);
  return refusal.substr(mark + kExampleMark.size());
}

inline bool is_one_line(std::string_view text) {
  return text.find_first_of("\n\r\t") == std::string_view::npos;
}

class World final : public LedgerView {
 public:
  std::vector<std::string> places() const override { return known_places; }
  std::string describe_jar(const Jar& jar) const override {
    return jar.made.jar + ": dormant\nin " + jar.stays.back().place;
  }
  std::string describe_place(std::string_view place) const override {
    return std::string(place) + ": 14.2 degrees";
  }
  std::string describe_sensor(std::string_view sensor) const override {
    return std::string(sensor) + ": 14.2 °C";
  }
  std::vector<ToldSensor> sensors() const override { return known_sensors; }
  std::vector<rules::Alert> open_alerts() const override { return alerts; }
  std::optional<rules::Standing> standing(std::string_view jar) const override {
    const auto known = standings.find(jar);
    return known == standings.end() ? std::nullopt : std::optional(known->second);
  }
  std::string todo() const override { return to_do; }
  std::optional<rules::culture::JarModel> model(std::string_view jar) const override {
    const auto known = models.find(jar);
    return known == models.end() ? std::nullopt : std::optional(known->second);
  }

  std::shared_ptr<const rules::culture::Profile> profile(std::string_view stage) const override {
    return cultures.for_stage(stage);
  }

  rules::culture::Profiles cultures;
  std::vector<std::string> known_places = {"cellar", "cellar/shelf-1", "cellar/shelf-2", "outside",
                                           "North Loft"};
  std::vector<ToldSensor> known_sensors = {
      {"s1", {Quantity::temperature, Quantity::humidity}, Celsius(12.0)},
      {"p7", {Quantity::temperature}, std::nullopt},
      {"h2", {Quantity::humidity}, std::nullopt}};
  std::vector<rules::Alert> alerts;
  std::map<std::string, rules::culture::JarModel, std::less<>> models;
  std::map<std::string, rules::Standing, std::less<>> standings;
  std::string to_do = "Nothing to do.";
};

inline rules::Alert alert(std::uint64_t number, std::string what, bool seen = false) {
  rules::Alert alert;
  alert.number = number;
  alert.what = std::move(what);
  alert.urgency = rules::Urgency::today;
  if (seen) {
    alert.seen_at = Instant{};
    alert.seen_by = "Mara";
  }
  return alert;
}

// A ledger and the world around it; engine time stands at `now`.
struct Cellar {
  Ledger ledger;
  World world;
  LocalTime zone = zone_of("Europe/Vienna");
  Instant now = utc("2026-03-10T12:00:00Z");
  Instant wall = utc("2026-03-10T12:00:07Z");
  std::vector<JournalEntry> journal;

  tl::expected<Told, SentenceRefusal> try_tell(std::string_view text) {
    auto told = ledger.tell(parsed(text, zone), text, now, wall, zone, world);
    if (told) journal.insert(journal.end(), told->entries.begin(), told->entries.end());
    return told;
  }
  Told tell(std::string_view text) {
    auto told = try_tell(text);
    REQUIRE_MESSAGE(told, (std::string(text) + ": " + (told ? "" : told.error().text)));
    CHECK(is_one_line(told->answer));
    return *told;
  }
  // Refusals record nothing and their example parses.
  std::string refused(std::string_view text) {
    const auto before = ledger.jars().size();
    auto told = try_tell(text);
    REQUIRE_MESSAGE(!told, (std::string(text) + ": " + (told ? told->answer : "")));
    CHECK(ledger.jars().size() == before);
    CHECK(is_one_line(told.error().text));
    (void)parsed(example_in(told.error().text), zone);
    return told.error().text;
  }
};

// Gives the jar a model that stood in steady air from its closing to now.
inline void model_jar(Cellar& cellar, const std::string& id, double celsius = 18.0,
                      double percent = 60.0) {
  namespace culture = rules::culture;
  culture::JarModel model(std::make_shared<const culture::Profile>(),
                          cellar.ledger.find(id)->recipe());
  const auto air = culture::Air::of(Celsius(celsius), Percent(percent));
  REQUIRE(air);
  model.step(*air, cellar.now);
  cellar.world.models.insert_or_assign(id, std::move(model));
}

// How the engine would say that it stands; without a deed.
inline void stand_jar(Cellar& cellar, const std::string& id, rules::culture::State state,
                      rules::Use use) {
  rules::Standing standing;
  standing.jar = id;
  standing.place = cellar.ledger.find(id)->stays.back().place;
  standing.state = state;
  standing.use = use;
  standing.why = "It sleeps.";
  cellar.world.standings[id] = standing;
}

inline bool contains(std::string_view text, std::string_view part) {
  return text.find(part) != std::string_view::npos;
}

}  // namespace torpor::daemon::test
