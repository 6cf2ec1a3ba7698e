#include "config/settings.h"

#include <doctest/doctest.h>

#include <random>

#include "config/rulebook.h"
#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

using namespace std::chrono_literals;

// The example of the blueprint's section on configuration, whole.
constexpr std::string_view kExample = R"yaml(storeroom: cellar
zone: Europe/Vienna                 # default: the system's; dates and tells without offset are in it
clock: wall                         # readings: engine time follows the newest reading
history: {file: /var/lib/torpor/history.sqlite3, survives: crash}      # or power-cut
broker: {url: mqtt://127.0.0.1:1883, user: torpord, secret: /etc/torpor/broker.secret}
web: {listen: 127.0.0.1:8457, address: http://cellar.lan:8457}
quiet_hours: 22:00-06:00
places:
  cellar: {volume: 18 m3, holds: {shelf-1: {}, shelf-2: {}}}
  outside: {}
sensors:
  - {id: s1, place: cellar/shelf-1, topic: cellar/s1, payload: json, expected_interval: 60 s,
     measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}}, time: {pointer: /ts, format: seconds}}
  - {id: s2, place: cellar/shelf-2, topic: cellar/s2/senml, payload: senml}
  - {id: p7, jar: B-07, senses: culture, topic: cellar/p7, payload: number, measures: {temperature: {unit: °C}}}
rulebooks: [built-in, rules.yaml]   # a relative path is relative to this file
)yaml";

TEST_CASE("the documented example reads without fault, each value in its type") {
  const SettingsResult result = read_settings(kExample, "torpor.yaml");
  CHECK(brief(result.faults) == "");
  const Settings& settings = result.settings;
  CHECK(settings.storeroom == "cellar");
  CHECK(settings.zone == "Europe/Vienna");
  CHECK(settings.zone_at == Mark{2, 7});
  CHECK(settings.clock == rules::Clock::wall);
  CHECK(settings.history.file == "/var/lib/torpor/history.sqlite3");
  CHECK(settings.history.survives == Survives::crash);
  CHECK(settings.broker.host == "127.0.0.1");
  CHECK(settings.broker.port == 1883);
  CHECK(settings.broker.user == "torpord");
  CHECK(settings.broker.secret_file == "/etc/torpor/broker.secret");
  REQUIRE(settings.web.has_value());
  CHECK(settings.web->listen == "127.0.0.1:8457");
  REQUIRE(settings.quiet.has_value());
  CHECK(settings.quiet->from_minute == 22 * 60);
  CHECK(settings.quiet->to_minute == 6 * 60);
  REQUIRE(settings.places.size() == 4);
  CHECK(settings.places[0].volume_m3 == 18.0);
  CHECK(settings.places[3].path == "outside");
  CHECK(settings.places[3].outside);
  REQUIRE(settings.sensors.size() == 3);
  CHECK(settings.sensors[0].spec.expected_interval == 60s);
  CHECK(settings.sensors[0].payload.time->format == TimeFormat::seconds);
  CHECK(settings.sensors[1].payload.form == PayloadForm::senml);
  CHECK(settings.sensors[2].spec.jar == "B-07");
  CHECK(settings.sensors[2].spec.senses == rules::Senses::culture);
  CHECK(settings.rulebooks == std::vector<std::string>{"built-in", "rules.yaml"});
  CHECK(settings.rulebooks_at == std::vector{Mark{16, 13}, Mark{16, 23}});
}

TEST_CASE("the layout holds the places and the sensors in configuration order") {
  const rules::Layout layout = read_settings(kExample, "torpor.yaml").settings.layout();
  REQUIRE(layout.places.size() == 4);
  CHECK(layout.places[1] == rules::PlaceSpec{"cellar/shelf-1", false});
  CHECK(layout.places[3] == rules::PlaceSpec{"outside", true});
  REQUIRE(layout.sensors.size() == 3);
  CHECK(layout.sensors[0].id == "s1");
  CHECK(layout.sensors[1].place == "cellar/shelf-2");
  CHECK(layout.sensors[2].measures == std::vector{Quantity::temperature});
}

TEST_CASE("all that may be left away has a default") {
  const SettingsResult result = read_settings("storeroom: c\n", "f");
  CHECK(result.faults.empty());
  CHECK(result.settings.zone.empty());
  CHECK(result.settings.clock == rules::Clock::wall);
  CHECK(result.settings.history.file == "/var/lib/torpor/history.sqlite3");
  CHECK(result.settings.history.survives == Survives::crash);
  CHECK_FALSE(result.settings.quiet.has_value());
  CHECK(result.settings.rulebooks == std::vector<std::string>{"built-in"});
  CHECK(result.settings.rulebooks_at.size() == 1);
  CHECK(result.settings.sensors.empty());
}

TEST_CASE("the other choices are read as well") {
  const SettingsResult result = read_settings(
      "storeroom: c\nclock: readings\nhistory: {file: h.db, survives: power-cut, "
      "copy: /mnt/stick}\n"
      "quiet_hours: 01:30 - 02:00\nrulebooks: []\n",
      "f");
  CHECK(brief(result.faults) == "");
  CHECK(result.settings.clock == rules::Clock::readings);
  CHECK(result.settings.history.file == "h.db");
  CHECK(result.settings.history.survives == Survives::power_cut);
  CHECK(result.settings.history.copy == "/mnt/stick");
  CHECK_FALSE(result.settings.history.keep);
  CHECK(result.settings.quiet->from_minute == 90);
  CHECK(result.settings.quiet->to_minute == 120);
  CHECK(result.settings.rulebooks.empty());
}

TEST_CASE("a person may read other units than those that are kept") {
  const ShownUnits usual = read_settings("storeroom: c\n", "f").settings.units;
  CHECK_FALSE(usual.fahrenheit);
  CHECK_FALSE(usual.ounces);
  const auto other = read_settings("storeroom: c\nunits: {temperature: °F, weight: oz}\n", "f");
  CHECK(brief(other.faults) == "");
  CHECK(other.settings.units.fahrenheit);
  CHECK(other.settings.units.ounces);
  CHECK(faults_of("storeroom: c\nunits: {temperature: K, weight: lb, length: ft}\n") ==
        "2:22: units.temperature: found `K`; expected °C, °F, C or F\n"
        "2:33: units.weight: found `lb`; expected g or oz\n"
        "2:37: units: `length` is not a key here; known: temperature, weight\n");
}

TEST_CASE("readings can be kept for some years only") {
  const auto result = read_settings("storeroom: c\nhistory: {keep: 5 y}\n", "c.yaml");
  CHECK(result.settings.history.keep == std::chrono::hours(24) * 365.25 * 5);
}

TEST_CASE("six faults are reported at once, in file order") {
  CHECK(
      faults_of(
          "storerom: cellar\n"
          "zone: Europe/Wien!\n"
          "quiet_hours: 22:00-22:00\n"
          "sensors:\n"
          "  - {id: s1, place: cellar, topic: cellar/#, payload: senml, expected_interval: 60}\n"
          "places:\n"
          "  cellar: {volume: 18 °C}\n") ==
      "1:1: `storerom` is not a key here; did you mean `storeroom`?\n"
      "2:7: zone: found `Europe/Wien!`; expected the name of a time zone, e.g. Europe/Vienna\n"
      "3:14: quiet_hours: found `22:00-22:00`, which begins when it ends; write two different "
      "times, or leave `quiet_hours` away\n"
      "5:36: sensors #1.topic: found `cellar/#` with a wildcard (+ or #); expected the exact topic "
      "of one sensor, or {sensor} as one level for several\n"
      "5:81: sensors #1.expected_interval: found `60`, which has no unit; expected a duration such "
      "as `60 s`, `30 min` or `2 h`\n"
      "7:20: places.cellar.volume: found `18 °C`; `°C` is not a unit here, write m3, m³ or l\n");
}

TEST_CASE("faulty settings") {
  const Faulty rows[] = {
      {"", "1:1: `storeroom` is missing; add e.g. `storeroom: cellar`\n"},
      {"storeroom: my cellar\n",
       "1:12: storeroom: found `my cellar`; expected a name of 1 to 32 letters (a-z, A-Z), digits, "
       "- "
       "or _\n"},
      {"storeroom: a/b\n",
       "1:12: storeroom: found `a/b`; expected a name of 1 to 32 letters (a-z, "
       "A-Z), digits, - or _\n"},
      {"storeroom:\n",
       "1:1: storeroom: found nothing; expected a name of 1 to 32 letters (a-z, A-Z), "
       "digits, - or _\n"},
      {"storeroom: [a]\n",
       "1:12: storeroom: found a list; expected a name of 1 to 32 letters (a-z, "
       "A-Z), digits, - or _\n"},
      {"storeroom: c\nzone: ../etc/x\n",
       "2:7: zone: found `../etc/x`; expected the name of a time zone, e.g. Europe/Vienna\n"},
      {"storeroom: c\nzone: /etc/x\n",
       "2:7: zone: found `/etc/x`; expected the name of a time zone, e.g. Europe/Vienna\n"},
      {"storeroom: c\nclock: reading\n",
       "2:8: clock: found `reading`; expected wall or readings; did you mean `readings`?\n"},
      {"storeroom: c\nclock: sun\n", "2:8: clock: found `sun`; expected wall or readings\n"},
      {"storeroom: c\nhistory: {file: \"\", survives: fire, depth: 3}\n",
       "2:17: history.file: found an empty word; expected the name of the history file\n"
       "2:31: history.survives: found `fire`; expected crash or power-cut\n"
       "2:37: history: `depth` is not a key here; known: file, survives, copy, keep\n"},
      {"storeroom: c\nhistory: {keep: 5 months}\n",
       "2:17: history.keep: found `5 months`; `months` is not a unit here, write y\n"},
      {"storeroom: c\nhistory: {keep: 0.9 y}\n",
       "2:17: history.keep: found `0.9 y`; expected 1 y to 100 y\n"},
      {"storeroom: c\nhistory: {keep: 101 y}\n",
       "2:17: history.keep: found `101 y`; expected 1 y to 100 y\n"},
      {"storeroom: c\nhistory: {keep: 5}\n",
       "2:17: history.keep: found `5`, which has no unit; expected years such as `5 y`\n"},
      {"storeroom: c\nquiet_hours: 22-6\n",
       "2:14: quiet_hours: found `22-6`; expected two local "
       "times, e.g. 22:00-06:00 (00:00 to 23:59)\n"},
      {"storeroom: c\nquiet_hours: 22:00-24:00\n",
       "2:14: quiet_hours: found `22:00-24:00`; expected two local times, e.g. 22:00-06:00 (00:00 "
       "to "
       "23:59)\n"},
      {"storeroom: c\nrulebooks: built-in\n",
       "2:12: rulebooks: found `built-in`; expected a list of rule books, e.g. [built-in, "
       "rules.yaml]\n"},
      {"storeroom: c\nrulebooks: [°, built-in, °, {}]\n",
       "2:26: rulebooks #3: `°` is listed twice; keep one\n"
       "2:29: rulebooks #4: found a mapping; expected `built-in` or the name of a file\n"},
      {"storeroom: c\nweather: fine\n",
       "2:1: `weather` is not a key here; known: storeroom, zone, units, clock, history, broker, "
       "web, "
       "quiet_hours, places, sensors, rulebooks, cultures\n"},
      {"[a, b]\n", "1:1: found a list; expected settings such as `storeroom: cellar`\n"},
      {"storeroom: c\nzone: &z UTC\n",
       "2:7: anchors (&name) are not read here; write the value out where it is used\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    CHECK(faults_of(row.text) == row.faults);
  }
}

TEST_CASE("a storeroom's name has 1 to 32 letters") {
  CHECK(faults_of("storeroom: " + std::string(32, 'x') + "\n").empty());
  CHECK_FALSE(faults_of("storeroom: " + std::string(33, 'x') + "\n").empty());
}

TEST_CASE("a configuration of exactly the largest size is read") {
  std::string text = "storeroom: c\n#";
  text.resize(kLargestSettings, '#');
  CHECK(faults_of(text).empty());
  text += '#';
  CHECK(faults_of(text) ==
        "1:1: found 1048577 bytes; expected at most 1048576: this is not a file a "
        "person keeps by hand, check the name\n");
}

TEST_CASE("a fault printed whole has its line and a caret") {
  const SettingsResult result = read_settings("storeroom: c\nclock: °\n", "torpor.yaml");
  REQUIRE(result.faults.size() == 1);
  CHECK(to_text(result.faults[0]) ==
        "torpor.yaml:2:8: clock: found `°`; expected wall or readings\n"
        "  clock: °\n"
        "         ^");
}

// No text may throw, and whatever is refused has a message. Seeds are fixed: a failure repeats.
void read_all(const std::string& text) {
  const SettingsResult settings = read_settings(text, "f");
  const RuleBookResult book = read_rulebook(text, "f");
  for (const Fault& fault : settings.faults) CHECK_FALSE(to_text(fault).empty());
  for (const Fault& fault : book.faults) CHECK_FALSE(fault.message.empty());
}

TEST_CASE("garbage never throws") {
  std::mt19937 random(20260302);
  std::uniform_int_distribution<int> byte(0, 255);
  std::uniform_int_distribution<int> length(0, 200);
  for (int i = 0; i < 2000; ++i) {
    std::string text;
    for (int n = length(random); n > 0; --n) text += static_cast<char>(byte(random));
    CHECK_NOTHROW(read_all(text));
  }
}

TEST_CASE("shuffled pieces of YAML never throw") {
  const std::vector<std::string> pieces = {"storeroom", "sensors",
                                           ": ",        ":",
                                           "\n",        "\n  ",
                                           "\n    ",    "- ",
                                           "? ",        "[",
                                           "]",         "{",
                                           "}",         ",",
                                           "\"",        "'",
                                           "&a ",       "*a",
                                           "!!str ",    "| ",
                                           ">-\n  ",    "#",
                                           "%",         "@",
                                           "---\n",     "...\n",
                                           "\t",        "°C",
                                           "<<: ",      "~",
                                           "\\",        "\r\n",
                                           "places",    "x",
                                           "1",         "rules",
                                           "when",      "temperature above 27 °C"};
  std::mt19937 random(7);
  std::uniform_int_distribution<std::size_t> pick(0, pieces.size() - 1);
  for (int i = 0; i < 20000; ++i) {
    std::string text;
    for (int n = 0; n < 25; ++n) text += pieces[pick(random)];
    CHECK_NOTHROW(read_all(text));
  }
}

TEST_CASE("a damaged configuration never throws") {
  std::mt19937 random(11);
  for (int i = 0; i < 2000; ++i) {
    std::string text(i % 2 == 0 ? kExample : built_in_rulebook());
    for (int n = 0; n < 1 + i % 4; ++n) {
      const std::size_t at = random() % text.size();
      switch (random() % 3) {
        case 0:
          text[at] = static_cast<char>(random() % 128);
          break;
        case 1:
          text.erase(at, random() % 40);
          break;
        default:
          text.insert(at, text.substr(random() % text.size(), random() % 40));
      }
      if (text.empty()) text = " ";
    }
    CHECK_NOTHROW(read_all(text));
  }
}

}  // namespace
}  // namespace torpor::config
