#include "tests/daemon/service/test_room.h"

#include <doctest/doctest.h>

#include "config/rulebook.h"

namespace torpor::tests {

using namespace daemon;

StoreroomSettings room_settings(const std::filesystem::path& folder, bool readings_clock) {
  const std::string text = std::string("storeroom: cellar\nzone: Europe/Vienna\nclock: ") +
                           (readings_clock ? "readings" : "wall") + R"(
history: {file: history.sqlite3}
broker: {url: mqtt://127.0.0.1:1}
places:
  cellar: {holds: {shelf-1: {}, shelf-2: {}}}
  outside: {}
sensors:
  - {id: s1, place: cellar/shelf-1, topic: room/s1, payload: json, expected_interval: 1 min,
     measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}},
     time: {pointer: /ms, format: milliseconds}}
  - {id: s2, place: cellar/shelf-2, topic: "room/{sensor}/senml", payload: senml, expected_interval: 1 min}
  - {id: n1, place: outside, topic: room/n1, payload: number, expected_interval: 1 min,
     measures: {temperature: {unit: °F}}}
rulebooks: [built-in]
)";
  auto read = config::read_settings(text, "test.yaml");
  for (const auto& fault : read.faults) FAIL(config::to_text(fault));
  auto rules = config::read_rulebook(R"(
rules:
  warm:
    concerns: place
    when: temperature above 27 °C lasting 10 min
    until: temperature below 25 °C lasting 5 min
    urgency: today
    why: Warmth speeds every organism in the jars here.
    remedies: [shade, move]
  damp-jar:
    concerns: jar
    when: humidity above 85 % lasting 5 min
    urgency: this-week
    why: A breathing cover takes up water.
    remedies: [dry-air]
  silent:
    concerns: sensor
    when: time since reading above 20 min
    urgency: this-week
    why: Nobody watches what this sensor watched.
    remedies: [check-sensor]
)",
                                     "rules.yaml");
  for (const auto& fault : rules.faults) FAIL(config::to_text(fault));
  auto zone = LocalTime::in_zone("Europe/Vienna");
  REQUIRE(zone);
  return {std::move(read.settings),
          std::move(rules.rules),
          *zone,
          folder / "history.sqlite3",
          folder / "spool",
          {},
          {}};
}

std::unique_ptr<Storeroom> open_room(const StoreroomSettings& settings) {
  auto room = Storeroom::open(settings, kStart);
  if (!room) FAIL(room.error().text);
  return std::move(*room);
}

ReadingsRecord reading(const std::string& sensor, Instant at, double celsius, double percent) {
  Reading temperature{sensor, Quantity::temperature, celsius, Unit::celsius, at, at, kUnmarked};
  Reading humidity{sensor, Quantity::humidity, percent, Unit::percent, at, at, kUnmarked};
  return {at, {temperature, humidity}, 0, false};
}

TellRecord tell(const std::string& sentence, Instant at, const std::string& correlation) {
  return {at, sentence, "", "", correlation, false};
}

void feed(Storeroom& room, InboxPayload payload) {
  const auto appended = room.inbox().append(payload);
  REQUIRE(appended);
  room.accept(InboxRecord{appended->sequence, std::move(payload)});
}

}  // namespace torpor::tests
