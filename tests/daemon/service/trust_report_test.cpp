// From a sensor's message to what a person is told of it: every doubt, what is kept, who speaks
// instead, and how long a value holds whose interval nobody gave.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <functional>

#include "daemon/report/gather.h"
#include "daemon/report/jar_words.h"
#include "daemon/report/standing_json.h"
#include "daemon/report/text.h"
#include "daemon/web/pages.h"
#include "sensors/trust.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {
namespace {

using namespace daemon;

// Three sensors on one shelf, s1 first, and a jar under them.
class Shelf {
 public:
  Shelf() : settings_(room_settings(folder_.path(), false)) {
    auto& sensors = settings_.settings.sensors;
    for (config::SensorSettings& sensor : sensors) {
      if (sensor.spec.id == "s2") sensor.spec.place = "cellar/shelf-1";
    }
    config::SensorSettings third = sensors.front();
    third.spec.id = "s3";
    third.topic = "room/s3";
    sensors.push_back(third);
  }
  void without_interval() {
    rules::SensorSpec& spec = settings_.settings.sensors.front().spec;
    spec.expected_interval = config::kDefaultExpectedInterval;
    spec.hold = rules::kHeldIntervals * spec.expected_interval;
    spec.learns_interval = spec.learns_hold = true;
  }
  void open() {
    room_.reset();
    room_ = open_room(settings_);
  }
  void close() { room_.reset(); }
  void say(const std::string& sentence, int minute) {
    feed(*room_, tell(sentence, minutes(minute)));
  }
  // Stamped by itself `behind` its arrival.
  void hear(const std::string& sensor, int minute, double celsius, double percent,
            Duration behind = {}) {
    ReadingsRecord record = reading(sensor, minutes(minute), celsius, percent);
    for (Reading& each : record.readings) each.measured_at -= behind;
    feed(*room_, std::move(record));
  }
  void tell_battery(int minute, double percent) {
    const Instant at = minutes(minute);
    feed(*room_, ReadingsRecord{
                     at, {{"s1", Quantity::battery, percent, Unit::percent, at, at, 0}}, 0, false});
  }
  void commit() { REQUIRE(room_->commit()); }

  template <class See>
  auto gathered(const See& see) const {
    return seen_in(settings_, see);
  }
  [[nodiscard]] SensorView sensor(const std::string& id) const {
    return gathered(
        [&](const Gathering& gathering, auto&, auto&) { return gathering.sensor(id).value(); });
  }
  [[nodiscard]] TextContext context() const { return {settings_.zone, kStart, {}, {}}; }
  [[nodiscard]] std::string sensors_page() const {
    Pages pages({settings_.settings, settings_.zone, settings_.history, settings_.spool});
    return pages.page("/sensors")->body;
  }
  [[nodiscard]] JarHistoryView jar() const {
    return gathered([](const Gathering& gathering, const Ledger& ledger, auto&) {
      return gathering.jar_history(*ledger.find("F-01"), {}).value();
    });
  }
  [[nodiscard]] std::vector<Reading> kept(const std::string& sensor, Quantity quantity) const {
    return gathered([&](auto&, auto&, const Reader& reader) {
      std::vector<Reading> all;
      const auto cursor = reader.readings(sensor, quantity, kStart, minutes(100000));
      while (auto each = cursor->next()) all.push_back(*each);
      return all;
    });
  }
  [[nodiscard]] std::vector<Placement> placements_of(const std::string& sensor) const {
    return gathered([&](auto&, auto&, const Reader& reader) {
      std::vector<Placement> all = reader.placements();
      std::erase_if(all, [&](const Placement& each) { return each.spec.id != sensor; });
      return all;
    });
  }

 private:
  TempFolder folder_;
  StoreroomSettings settings_;
  std::unique_ptr<Storeroom> room_;
};

double air(int minute) { return 18.0 + (minute / 10 % 7) * 0.1; }

const char kShelfJar[] =
    "new jar F-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g";

std::string who_spoke(const JarHistoryView& view) {
  std::string text;
  for (const Speaker& span : speakers_of(view)) {
    text += fmt::format("{}{} {}", text.empty() ? "" : "; ",
                        (span.from - kStart) / std::chrono::minutes(1),
                        span.sensor.empty() ? "nobody" : span.sensor);
  }
  return text;
}

TEST_CASE("whatever is doubted of a sensor stands in its report with a reason") {
  struct Fault {
    const char* word;
    const char* reason;
    int until, step;  // minutes
    std::function<void(Shelf&, int)> hear;
  };
  const auto normal = [](Shelf& shelf, const char* sensor, int m, double off = 0.0) {
    shelf.hear(sensor, m, air(m) + off, 60.0 + m / 10 % 5);
  };
  const auto others = [&](Shelf& shelf, int m) {
    normal(shelf, "s2", m);
    normal(shelf, "s3", m);
  };
  const Fault faults[] = {
      {"clock-astray", "its time stamps are 20 min behind the time of arrival", 60, 1,
       [&](Shelf& shelf, int m) {
         shelf.hear("s1", m, air(m), 60.0 + m / 10 % 5, std::chrono::minutes(20));
       }},
      {"two-devices", "two devices seem to publish as this one", 30, 1,
       [&](Shelf& shelf, int m) { shelf.hear("s1", m, air(m) + m % 2 * 2.0, 60.0 + m % 2 * 9.0); }},
      {"silent", "silent for 60 min, where a message was expected every 1 min", 60, 1,
       [&](Shelf& shelf, int m) {
         if (m == 0) normal(shelf, "s1", m);
         normal(shelf, "s2", m);
       }},
      {"low-battery", "battery at 9 %: change it before the sensor dies", 30, 10,
       [&](Shelf& shelf, int m) {
         normal(shelf, "s1", m);
         shelf.tell_battery(m, 9.0);
       }},
      {"odd-one-out", "from the sensors beside it, which agree", 5 * 60, 10,
       [&](Shelf& shelf, int m) {
         normal(shelf, "s1", m, 3.0);
         others(shelf, m);
       }},
      {"drifts", "against the sensors beside it since their first week", 40 * 1440, 60,
       [&](Shelf& shelf, int m) {
         normal(shelf, "s1", m, 0.03 * m / 1440.0);
         others(shelf, m);
       }},
  };
  for (const Fault& fault : faults) {
    CAPTURE(fault.word);
    Shelf shelf;
    shelf.open();
    for (int m = 0; m <= fault.until; m += fault.step) fault.hear(shelf, m);
    shelf.commit();
    const SensorView view = shelf.sensor("s1");
    REQUIRE(view.standing);
    const auto words = doubt_words(view.standing->doubts);
    CHECK(std::count(words.begin(), words.end(), fault.word) == 1);
    const std::string text = sensors_text(std::vector{view}, shelf.context());
    std::string one_line;
    for (const char c : text) one_line += c == '\n' ? ' ' : c;
    CAPTURE(one_line);
    CHECK(one_line.find(fault.reason) != std::string::npos);
    CHECK(shelf.sensors_page().find(fault.reason) != std::string::npos);
  }
}

TEST_CASE("what is not believed is kept as it came, and the next sensor speaks meanwhile") {
  for (const bool alone : {false, true}) {
    CAPTURE(alone);
    Shelf shelf;
    shelf.open();
    shelf.say(kShelfJar, 0);
    for (int m = 1; m < 120; ++m) {
      const bool leaps = m >= 60 && m < 70;
      shelf.hear("s1", m, leaps ? 60.0 : air(m), 60.0 + m / 10 % 5);
      if (!alone) shelf.hear("s2", m, air(m) + 0.1, 60.0 + m / 10 % 5);
    }
    shelf.commit();
    int marked = 0;
    for (const Reading& each : shelf.kept("s1", Quantity::temperature)) {
      const bool leapt = each.raw == 60.0;
      CHECK(((each.marks & kDoubted) != 0) == leapt);
      marked += leapt ? 1 : 0;
    }
    CHECK(marked == 10);
    const JarHistoryView jar = shelf.jar();
    // The value before it holds for three minutes.
    CHECK(who_spoke(jar) ==
          (alone ? "0 nobody; 1 s1; 62 nobody; 70 s1" : "0 nobody; 1 s1; 62 s2; 70 s1"));
    CHECK((jar.summary.coverage_percent > 98.0) == !alone);
    const std::string text = jar_history_text(jar, shelf.context());
    CHECK(text.find("Which sensor spoke for its air") != std::string::npos);
    CHECK(text.find(alone ? "none" : "s2") != std::string::npos);
  }
}

TEST_CASE(
    "a value whose interval nobody gave holds for three of what was learned, looking back too") {
  Shelf shelf;
  shelf.without_interval();
  shelf.open();
  shelf.say(kShelfJar, 0);
  for (int m = 2; m <= 40; m += 2) shelf.hear("s1", m, air(m), 60.0 + m / 10 % 5);
  shelf.hear("s1", 60, air(60), 61.0);
  shelf.commit();
  CHECK(who_spoke(shelf.jar()) == "0 nobody; 2 s1; 46 nobody");
  const auto placements = shelf.placements_of("s1");
  REQUIRE(placements.size() == 2);
  CHECK(placements[0].spec.hold == rules::kHeldIntervals * config::kDefaultExpectedInterval);
  CHECK(placements[1].from == minutes(18));
  CHECK(placements[1].spec.expected_interval == std::chrono::minutes(2));
  CHECK(placements[1].spec.hold == std::chrono::minutes(6));
  const SensorView view = shelf.sensor("s1");
  CHECK(view.hold == std::chrono::minutes(6));
  CHECK(view.expected_interval == std::chrono::minutes(2));
  // A new start changes nothing of it.
  shelf.open();
  shelf.commit();
  CHECK(shelf.placements_of("s1") == placements);
}

}  // namespace
}  // namespace torpor::tests
