#include "tests/daemon/report/small_cellar.h"

#include <stdexcept>
#include <string>

#include "daemon/ledger/sentence.h"
#include "daemon/report/alert_json.h"

namespace torpor::tests {
namespace {

using namespace daemon;
using std::chrono::minutes;

constexpr const char* kConfiguration = R"(storeroom: cellar
zone: Europe/Vienna
clock: readings
history: {file: history.sqlite3}
broker: {url: "mqtt://127.0.0.1:1", user: torpord, secret: broker.secret}
places:
  cellar: {holds: {shelf-1: {}, shelf-2: {}}}
  outside: {}
sensors:
  - {id: s1, place: cellar/shelf-1, topic: cellar/s1, payload: json, expected_interval: 30 min,
     hold: 90 min, measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}}}
  - {id: s2, place: cellar/shelf-2, topic: cellar/s2, payload: json, expected_interval: 30 min,
     hold: 90 min, measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}}}
  - {id: top, place: cellar, topic: cellar/top, payload: json, expected_interval: 30 min,
     hold: 90 min, measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}}}
  - {id: p1, jar: B-01, senses: culture, topic: cellar/p1, payload: number,
     measures: {temperature: {unit: °C}}}
)";

void must(const tl::expected<void, Error>& done) {
  if (!done) throw std::runtime_error(done.error().text);
}

void put_air(Store& store, const std::string& sensor, Instant at, double celsius, double percent) {
  for (const auto& [quantity, raw, unit] :
       {std::tuple(Quantity::temperature, celsius, Unit::celsius),
        std::tuple(Quantity::humidity, percent, Unit::percent)}) {
    const auto stored = store.put_reading({sensor, quantity, raw, unit, at, at, kUnmarked});
    if (!stored) throw std::runtime_error(stored.error().text);
  }
}

void put_readings(Store& store) {
  for (int half = 0; half <= 30 * 48; ++half) {
    const Instant at = SmallCellar::kStart + minutes(30 * half);
    const bool warm = half == 200 || half == 201;
    put_air(store, "s1", at, warm ? 30.0 : 15.0, 60.0);
    put_air(store, "top", at, 10.0, 80.0);
    if (half < 2 * 48) put_air(store, "s2", at, 12.0, 70.0);
  }
}

rules::SensorSpec spec(const std::string& id, const std::string& place) {
  rules::SensorSpec spec;
  spec.id = id;
  spec.place = place;
  spec.measures = {Quantity::temperature, Quantity::humidity};
  spec.expected_interval = minutes(30);
  spec.hold = minutes(90);
  return spec;
}

void put_journal(Store& store, std::uint64_t number, Instant at, const std::string& sentence,
                 const Act& act) {
  must(store.put_journal({number, at, at, "mara", sentence, act_to_json(act)}));
}

NewJar new_jar(const std::string& jar, const std::string& place) {
  NewJar made;
  made.jar = jar;
  made.place = place;
  made.stage = "IMO-2";
  made.cover = Cover::paper;
  return made;
}

AlertView alert(std::uint64_t number, rules::Subject subject, Instant since,
                std::vector<std::string> jars) {
  AlertView view;
  view.alert.number = number;
  view.alert.rule = "warm-shelf";
  view.alert.subject = std::move(subject);
  view.alert.urgency = rules::Urgency::today;
  view.alert.since = view.alert.raised_at = since;
  view.alert.what = view.alert.subject.id + " is warm: 30.0 °C.";
  view.alert.jars = std::move(jars);
  return view;
}

void put_alerts(Store& store) {
  const rules::Subject shelf{rules::SubjectKind::place, "cellar/shelf-1"};
  AlertView first = alert(1, shelf, SmallCellar::hour(100.5), {"B-01"});
  must(store.put_alert_change({1, SmallCellar::hour(100.5), "raised", alert_json(first)}));
  first.alert.state = rules::AlertState::ended;
  first.alert.ended_at = SmallCellar::hour(102);
  first.alert.jars.clear();
  must(store.put_alert_change({1, SmallCellar::hour(102), "ended", alert_json(first)}));
  must(store.put_alert({1, false, alert_json(first)}));
  must(store.put_alert({2, true, alert_json(alert(2, shelf, SmallCellar::hour(719), {"X-9"}))}));
}

}  // namespace

SmallCellar::SmallCellar() {
  folder_.write("torpor.yaml", kConfiguration);
  folder_.write("broker.secret", "not a real one\n");
}

void SmallCellar::by_wall_clock() const {
  const std::string readings = "clock: readings";
  std::string text = kConfiguration;
  folder_.write("torpor.yaml", text.replace(text.find(readings), readings.size(), "clock: wall"));
}

void SmallCellar::fill() const {
  auto opened = Store::open(history());
  if (!opened) throw std::runtime_error(opened.error().text);
  Store& store = **opened;
  must(store.begin());
  for (const auto& placed :
       {spec("s1", "cellar/shelf-1"), spec("s2", "cellar/shelf-2"), spec("top", "cellar")}) {
    must(store.put_placement({placed, instant_of(0)}));
  }
  put_readings(store);
  put_journal(store, 1, kStart, "new jar B-01 in cellar/shelf-1",
              new_jar("B-01", "cellar/shelf-1"));
  put_journal(store, 2, kStart, "new jar B-02 in cellar/shelf-2",
              new_jar("B-02", "cellar/shelf-2"));
  put_journal(store, 3, hour(480), "move b1 to cellar/shelf-2", MoveJar{"B-01", "cellar/shelf-2"});
  put_journal(store, 4, hour(600), "new jar X-9 in cellar/shelf-1",
              new_jar("X-9", "cellar/shelf-1"));
  put_alerts(store);
  must(store.commit());
}

}  // namespace torpor::tests
