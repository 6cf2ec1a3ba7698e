// The streaming merge against a reference that looks every moment up from scratch.
#include "daemon/ledger/exposure.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <random>
#include <set>
#include <tuple>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using std::chrono::minutes;
using test::utc;

namespace {

const Instant kStart = utc("2026-03-01T00:00:00Z");

Instant at(int minute) { return kStart + minutes(minute); }

// Readings in memory, by sensor and quantity, in order.
class MemoryReader final : public Reader {
 public:
  void add(std::string sensor, Quantity quantity, int minute, double value,
           std::uint8_t marks = kUnmarked) {
    Reading reading;
    reading.sensor = sensor;
    reading.quantity = quantity;
    reading.raw = value;
    reading.unit = quantity == Quantity::temperature ? Unit::celsius : Unit::percent;
    reading.measured_at = at(minute);
    reading.received_at = at(minute);
    reading.marks = marks;
    rows_[{std::move(sensor), quantity}].emplace(reading.measured_at, reading);
  }
  // Both quantities at once.
  void add(const std::string& sensor, int minute, double celsius, double percent) {
    add(sensor, Quantity::temperature, minute, celsius);
    add(sensor, Quantity::humidity, minute, percent);
  }

  [[nodiscard]] const std::map<Instant, Reading>& rows(std::string_view sensor,
                                                       Quantity quantity) const {
    static const std::map<Instant, Reading> kNone;
    const auto found = rows_.find({std::string(sensor), quantity});
    return found == rows_.end() ? kNone : found->second;
  }

  std::unique_ptr<ReadingCursor> readings(std::string_view sensor, Quantity quantity, Instant from,
                                          Instant to) const override {
    const auto& all = rows(sensor, quantity);
    return std::make_unique<Cursor>(all.lower_bound(from), all.lower_bound(to));
  }
  std::optional<Reading> last_before(std::string_view sensor, Quantity quantity,
                                     Instant before) const override {
    const auto& all = rows(sensor, quantity);
    auto row = all.lower_bound(before);
    if (row == all.begin()) return std::nullopt;
    return (--row)->second;
  }
  std::vector<std::string> known_sensors() const override { return {}; }
  std::vector<Placement> placements() const override { return {}; }
  std::vector<JournalEntry> journal() const override { return {}; }
  std::vector<StoredAlert> alerts(bool) const override { return {}; }
  std::vector<StoredAlertChange> alert_changes(std::uint64_t) const override { return {}; }
  std::optional<Instant> newest_measured() const override { return std::nullopt; }
  std::optional<std::string> note(std::string_view) const override { return std::nullopt; }

 private:
  using Row = std::map<Instant, Reading>::const_iterator;
  class Cursor final : public ReadingCursor {
   public:
    Cursor(Row next, Row end) : next_(next), end_(end) {}
    std::optional<Reading> next() override {
      if (next_ == end_) return std::nullopt;
      return (next_++)->second;
    }

   private:
    Row next_, end_;
  };

  std::map<std::pair<std::string, Quantity>, std::map<Instant, Reading>> rows_;
};

Placement hung(std::string sensor, std::string place, Instant from = Instant{}, int hold = 10) {
  Placement placement;
  placement.spec.id = std::move(sensor);
  placement.spec.place = std::move(place);
  placement.spec.hold = minutes(hold);
  placement.spec.expected_interval = minutes(1);
  placement.from = from;
  return placement;
}

Jar jar_in(std::vector<Stay> stays) {
  Jar jar;
  jar.made.jar = "B-07";
  jar.registered_at = stays.front().from;
  jar.stays = std::move(stays);
  return jar;
}

const std::vector<rules::PlaceSpec> kPlaces = {
    {"cellar", false}, {"cellar/shelf-1", false}, {"cellar/shelf-2", false}, {"outside", true}};

struct Walked {
  std::vector<ExposureStep> steps;
  ExposureSummary summary;
};

Walked walk(const Jar& jar, int from, int to, const Reader& history,
            const std::vector<Placement>& placements) {
  Walked walked;
  const Calibrations none;
  const StoodAir air(history, kPlaces, placements, none);
  walked.summary = air.walk(jar, at(from), at(to),
                            [&](const ExposureStep& step) { walked.steps.push_back(step); });
  return walked;
}

// "0-5 cellar s1 20.0 60.0; ..." in minutes; ? is unknown.
std::string shown_steps(const std::vector<ExposureStep>& steps) {
  std::string text;
  const auto number = [](const auto& amount) {
    return amount ? std::to_string(static_cast<int>(amount->value())) : std::string("?");
  };
  const auto minute = [](Instant t) {
    return std::to_string(std::chrono::duration_cast<minutes>(t - kStart).count());
  };
  for (const ExposureStep& step : steps) {
    if (!text.empty()) text += "; ";
    text += minute(step.from) + "-" + minute(step.to) + " " +
            (step.place.empty() ? "nowhere" : step.place) + " " +
            (step.sensor.empty() ? "nobody" : step.sensor) + " " + number(step.temperature) + " " +
            number(step.humidity);
    if (step.humidity_sensor != step.sensor) text += " by " + step.humidity_sensor;
  }
  return text;
}

}  // namespace

TEST_CASE("a value holds until the next reading, at most `hold`") {
  MemoryReader history;
  history.add("s1", 2, 20, 60);
  history.add("s1", 5, 21, 61);
  history.add("s1", 30, 22, 62);
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  const Walked walked = walk(jar, 0, 35, history, {hung("s1", "cellar")});
  CHECK(
      shown_steps(walked.steps) ==
      "0-2 cellar nobody ? ?; 2-5 cellar s1 20 60; 5-15 cellar s1 21 61; 15-30 cellar nobody ? ?; "
      "30-35 cellar s1 22 62");
  CHECK(walked.summary.coverage_percent == doctest::Approx(100.0 * 18 / 35));
  CHECK(walked.summary.highest_temperature == Celsius(22));
  CHECK(walked.summary.from == at(0));
  CHECK(walked.summary.to == at(35));
}

TEST_CASE("what held before the range counts in it") {
  MemoryReader history;
  history.add("s1", 2, 20, 60);
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  CHECK(shown_steps(walk(jar, 11, 14, history, {hung("s1", "cellar")}).steps) ==
        "11-12 cellar s1 20 60; 12-14 cellar nobody ? ?");
  CHECK(shown_steps(walk(jar, 12, 14, history, {hung("s1", "cellar")}).steps) ==
        "12-14 cellar nobody ? ?");
}

TEST_CASE("equal neighbours are one step") {
  MemoryReader history;
  for (int minute = 0; minute < 60; ++minute) history.add("s1", minute, 20, 60);
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  const Walked walked = walk(jar, 0, 60, history, {hung("s1", "cellar")});
  CHECK(shown_steps(walked.steps) == "0-60 cellar s1 20 60");
  CHECK(walked.summary.coverage_percent == 100.0);
  CHECK(walked.summary.mean_kinetic_temperature->value() == doctest::Approx(20.0).epsilon(1e-12));
}

TEST_CASE("stays are walked through the place tree, gaps are nowhere") {
  MemoryReader history;
  history.add("s0", 0, 10, 50);
  history.add("s1", 0, 20, 60);
  const std::vector<Placement> placements = {hung("s0", "cellar", {}, 100),
                                             hung("s1", "cellar/shelf-1", {}, 100)};
  const Jar jar = jar_in({{"cellar/shelf-1", at(5), at(10)},
                          {"cellar/shelf-2", at(10), at(20)},
                          {"outside", at(20), at(25)}});
  CHECK(
      shown_steps(walk(jar, 0, 30, history, placements).steps) ==
      "0-5 nowhere nobody ? ?; 5-10 cellar/shelf-1 s1 20 60; 10-20 cellar/shelf-2 s0 10 50; 20-25 "
      "outside nobody ? ?; 25-30 nowhere nobody ? ?");
}

TEST_CASE("the nearest live sensor speaks and falls back up the tree") {
  MemoryReader history;
  history.add("s0", 0, 10, 50);
  history.add("s0", 9, 11, 51);
  history.add("s1", 3, 20, 60);
  const std::vector<Placement> placements = {hung("s0", "cellar", {}, 10),
                                             hung("s1", "cellar/shelf-1", {}, 2)};
  const Jar jar = jar_in({{"cellar/shelf-1", at(0), {}}});
  CHECK(
      shown_steps(walk(jar, 0, 12, history, placements).steps) ==
      "0-3 cellar/shelf-1 s0 10 50; 3-5 cellar/shelf-1 s1 20 60; 5-9 cellar/shelf-1 s0 10 50; 9-12 "
      "cellar/shelf-1 s0 11 51");
}

TEST_CASE("humidity keeps the temperature of its own sensor") {
  MemoryReader history;
  history.add("s0", 0, 10, 50);
  history.add("thermometer", Quantity::temperature, 0, 20);
  const std::vector<Placement> placements = {hung("s0", "cellar"),
                                             hung("thermometer", "cellar/shelf-1")};
  const Jar jar = jar_in({{"cellar/shelf-1", at(0), {}}});
  const Walked walked = walk(jar, 0, 5, history, placements);
  REQUIRE(walked.steps.size() == 1);
  CHECK(shown_steps(walked.steps) == "0-5 cellar/shelf-1 thermometer 20 50 by s0");
  CHECK(walked.steps[0].humid_temperature == Celsius(10));
  CHECK(walked.summary.coverage_percent == 100.0);
}

TEST_CASE("a temperature without humidity is heat, but not coverage") {
  MemoryReader history;
  history.add("s1", Quantity::temperature, 0, 30);
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  const Walked walked = walk(jar, 0, 5, history, {hung("s1", "cellar")});
  CHECK(walked.summary.coverage_percent == 0.0);
  CHECK(walked.summary.mean_kinetic_temperature->value() == doctest::Approx(30.0));
  CHECK(walked.summary.highest_temperature == Celsius(30));
}

TEST_CASE("a probe in a jar never counts as the air around it") {
  MemoryReader history;
  history.add("s0", 0, 30, 95);
  history.add("probe", 0, 5, 40);
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  const Walked alone = walk(jar, 0, 10, history, {hung("s0", "cellar")});
  for (const rules::Senses senses : {rules::Senses::headspace, rules::Senses::culture,
                                     rules::Senses::glass, rules::Senses::air}) {
    Placement probe = hung("probe", "");
    probe.spec.jar = "B-07";
    probe.spec.senses = senses;
    const Walked beside = walk(jar, 0, 10, history, {probe, hung("s0", "cellar")});
    CHECK(beside.steps == alone.steps);
    CHECK(beside.summary == alone.summary);
    // Without any air sensor the probe does not make the time covered.
    CHECK(walk(jar, 0, 10, history, {probe}).summary.coverage_percent == 0.0);
  }
  // A sensor that hangs at the place but senses glass is no air sensor either.
  Placement glass = hung("probe", "cellar");
  glass.spec.senses = rules::Senses::glass;
  CHECK(walk(jar, 0, 10, history, {glass, hung("s0", "cellar")}).steps == alone.steps);
}

TEST_CASE("readings out of physical range are as if they were not there") {
  MemoryReader history;
  history.add("s1", 0, 20, 60);
  history.add("s1", Quantity::temperature, 2, 200, kOutOfRange);
  history.add("s1", Quantity::humidity, 3, 140, kOutOfRange);
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  CHECK(shown_steps(walk(jar, 0, 12, history, {hung("s1", "cellar")}).steps) ==
        "0-10 cellar s1 20 60; 10-12 cellar nobody ? ?");
  CHECK(shown_steps(walk(jar, 5, 12, history, {hung("s1", "cellar")}).steps) ==
        "5-10 cellar s1 20 60; 10-12 cellar nobody ? ?");
}

TEST_CASE("moving a sensor never re-tags the past, nor speaks for its new place unread") {
  MemoryReader history;
  history.add("s1", 0, 20, 60);
  history.add("s1", 8, 10, 50);
  const std::vector<Placement> in_order = {hung("s1", "cellar/shelf-1", at(-100)),
                                           hung("s1", "cellar/shelf-2", at(5))};
  const Jar one = jar_in({{"cellar/shelf-1", at(0), {}}});
  const Jar two = jar_in({{"cellar/shelf-2", at(0), {}}});
  CHECK(shown_steps(walk(one, 0, 10, history, in_order).steps) ==
        "0-5 cellar/shelf-1 s1 20 60; 5-10 cellar/shelf-1 nobody ? ?");
  CHECK(shown_steps(walk(two, 0, 10, history, in_order).steps) ==
        "0-8 cellar/shelf-2 nobody ? ?; 8-10 cellar/shelf-2 s1 10 50");
  // The first placement holds from the beginning of time, whatever its date.
  CHECK(shown_steps(walk(two, 0, 10, history, {hung("s1", "cellar/shelf-2", at(100))}).steps) ==
        "0-8 cellar/shelf-2 s1 20 60; 8-10 cellar/shelf-2 s1 10 50");
}

TEST_CASE("a changed hold is no move") {
  MemoryReader history;
  history.add("s1", 0, 20, 60);
  const std::vector<Placement> placements = {hung("s1", "cellar", at(-100), 10),
                                             hung("s1", "cellar", at(5), 7)};
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  CHECK(shown_steps(walk(jar, 0, 10, history, placements).steps) ==
        "0-7 cellar s1 20 60; 7-10 cellar nobody ? ?");
}

TEST_CASE("an empty range has no steps and no figures") {
  MemoryReader history;
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  for (const auto& [from, to] : {std::pair(5, 5), std::pair(6, 5)}) {
    const Walked walked = walk(jar, from, to, history, {});
    CHECK(walked.steps.empty());
    CHECK(walked.summary.coverage_percent == 0.0);
    CHECK_FALSE(walked.summary.mean_kinetic_temperature);
    CHECK_FALSE(walked.summary.highest_temperature);
  }
}

TEST_CASE("mean kinetic temperature of an exposure is time-weighted") {
  // 23 h at 20 degC and 1 h at 40 degC: 22.447930 (USP <1160> formula, dH/R = 10000 K).
  MemoryReader history;
  history.add("s1", 0, 20, 60);
  history.add("s1", 23 * 60, 40, 60);
  const Jar jar = jar_in({{"cellar", at(0), {}}});
  const Walked walked = walk(jar, 0, 24 * 60, history, {hung("s1", "cellar", {}, 24 * 60)});
  CHECK(std::abs(walked.summary.mean_kinetic_temperature->value() - 22.447930) <= 0.51e-6);
  CHECK(walked.summary.highest_temperature == Celsius(40));
}

namespace {

// What held for the jar at `t`, looked up from scratch and by other code than the walk's.
class Reference {
 public:
  Reference(const Jar& jar, const MemoryReader& history, const std::vector<Placement>& placements)
      : jar_(jar), history_(history), placements_(placements) {}

  ExposureStep step_at(Instant t) const {
    ExposureStep step;
    for (const Stay& stay : jar_.stays) {
      if (stay.from <= t && (!stay.to || t < *stay.to)) step.place = stay.place;
    }
    for (std::string place = step.place; !place.empty(); place = above(place)) {
      if (place == "outside" && step.place != "outside") break;
      for (const std::string& sensor : sensors_in_order()) ask(sensor, place, t, step);
    }
    return step;
  }

  std::set<Instant> moments(Instant from, Instant to) const {
    std::set<Instant> moments{from};
    const auto add = [&](Instant t) {
      if (from < t && t < to) moments.insert(t);
    };
    for (const Stay& stay : jar_.stays) {
      add(stay.from);
      if (stay.to) add(*stay.to);
    }
    std::set<Duration> holds;
    for (const Placement& placement : placements_) {
      add(placement.from);
      holds.insert(placement.spec.hold);
    }
    for (const std::string& sensor : sensors_in_order()) {
      for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
        for (const auto& [measured, reading] : history_.rows(sensor, quantity)) {
          add(measured);
          for (const Duration hold : holds) add(measured + hold);
        }
      }
    }
    return moments;
  }

 private:
  static std::string above(const std::string& place) {
    const std::size_t slash = place.rfind('/');
    return slash == std::string::npos ? "" : place.substr(0, slash);
  }

  std::vector<std::string> sensors_in_order() const {
    std::vector<std::string> ids;
    for (const Placement& placement : placements_) {
      if (std::find(ids.begin(), ids.end(), placement.spec.id) == ids.end()) {
        ids.push_back(placement.spec.id);
      }
    }
    return ids;
  }

  // The placement in force, and the first placement of the sensor.
  std::pair<const Placement*, const Placement*> in_force(const std::string& sensor,
                                                         Instant t) const {
    const Placement* first = nullptr;
    const Placement* force = nullptr;
    for (const Placement& placement : placements_) {
      if (placement.spec.id != sensor) continue;
      if (first == nullptr) first = force = &placement;
      if (placement.from <= t) force = &placement;
    }
    return {force, first};
  }

  // A reading counts if at no moment from its measuring to `t` the sensor hung elsewhere.
  bool hung_there(const std::string& sensor, Instant since, Instant t,
                  const rules::SensorSpec& now) const {
    const auto alike = [&](const Placement* placement) {
      return placement->spec.place == now.place && placement->spec.jar == now.jar &&
             placement->spec.senses == now.senses;
    };
    if (!alike(in_force(sensor, since).first)) return false;
    for (const Placement& placement : placements_) {
      const bool between = placement.spec.id == sensor && since < placement.from &&
                           placement.from <= t && &placement != in_force(sensor, t).second;
      if (between && !alike(&placement)) return false;
    }
    return true;
  }

  std::optional<double> held(const std::string& sensor, Quantity quantity, Instant t,
                             const rules::SensorSpec& now) const {
    std::optional<double> value;
    for (const auto& [measured, reading] : history_.rows(sensor, quantity)) {
      if (measured > t) break;
      if (!reading.trusted()) continue;
      value.reset();
      if (t < measured + now.hold && hung_there(sensor, measured, t, now)) value = reading.raw;
    }
    return value;
  }

  void ask(const std::string& sensor, const std::string& place, Instant t,
           ExposureStep& step) const {
    const rules::SensorSpec& spec = in_force(sensor, t).first->spec;
    if (spec.place != place || spec.senses != rules::Senses::air || !spec.jar.empty()) return;
    const auto celsius = held(sensor, Quantity::temperature, t, spec);
    const auto percent = held(sensor, Quantity::humidity, t, spec);
    if (celsius && !step.temperature) {
      step.temperature = Celsius(*celsius);
      step.sensor = sensor;
      step.temperature_error = expected_error({}, Quantity::temperature, t);  // never checked
    }
    if (celsius && percent && !step.humidity) {
      step.humidity = Percent(*percent);
      step.humid_temperature = Celsius(*celsius);
      step.humidity_sensor = sensor;
      step.humidity_error = expected_error({}, Quantity::humidity, t);
    }
  }

  const Jar& jar_;
  const MemoryReader& history_;
  const std::vector<Placement>& placements_;
};

struct RandomHistory {
  MemoryReader history;
  std::vector<Placement> placements;
  Jar jar;
};

RandomHistory random_history(unsigned seed) {
  std::mt19937 random(seed);
  const auto below = [&](int limit) {
    return static_cast<int>(random() % static_cast<unsigned>(limit));
  };
  const char* kWhere[] = {"cellar", "cellar/shelf-1", "cellar/shelf-2", "outside"};
  RandomHistory made;
  for (int sensor = 0; sensor < 4; ++sensor) {
    const std::string id = "s" + std::to_string(sensor);
    for (int moved = 0; moved <= below(3); ++moved) {
      Placement placement =
          hung(id, kWhere[below(4)], at(moved == 0 ? below(400) : below(300)), 1 + below(20));
      if (below(5) == 0) placement.spec.senses = rules::Senses::glass;
      if (below(6) == 0) {
        placement.spec.place.clear();
        placement.spec.jar = "B-07";
        placement.spec.senses = rules::Senses::headspace;
      }
      made.placements.push_back(placement);
    }
    for (int i = 0; i < 60; ++i) {
      const int minute = below(300) - 30;
      const std::uint8_t marks = below(8) == 0 ? kOutOfRange : kUnmarked;
      if (below(5) != 0) made.history.add(id, Quantity::temperature, minute, below(8), marks);
      if (below(5) != 0) made.history.add(id, Quantity::humidity, minute, below(8), marks);
    }
  }
  std::stable_sort(made.placements.begin(), made.placements.end(),
                   [](const Placement& a, const Placement& b) { return a.from < b.from; });
  std::vector<Stay> stays{{kWhere[below(4)], at(below(40)), std::nullopt}};
  for (int i = 0; i < below(4); ++i) {
    const Instant moved = stays.back().from + minutes(1 + below(90));
    stays.back().to = moved;
    stays.push_back({kWhere[below(4)], moved, std::nullopt});
  }
  if (below(2)) stays.back().to = stays.back().from + minutes(60);  // retired
  made.jar = jar_in(std::move(stays));
  return made;
}

}  // namespace

TEST_CASE("the walk agrees with looking every moment up from scratch") {
  int known = 0;
  for (unsigned seed = 1; seed <= 300; ++seed) {
    CAPTURE(seed);
    const RandomHistory made = random_history(seed);
    const Reference reference(made.jar, made.history, made.placements);
    const int from = static_cast<int>(seed % 50) - 10;
    const int to = 250;
    const Walked walked = walk(made.jar, from, to, made.history, made.placements);

    // Every moment at which anything could change, against the step that holds it.
    REQUIRE_FALSE(walked.steps.empty());
    CHECK(walked.steps.front().from == at(from));
    CHECK(walked.steps.back().to == at(to));
    std::size_t next = 0;
    for (const Instant moment : reference.moments(at(from), at(to))) {
      while (walked.steps[next].to <= moment) ++next;
      ExposureStep expected = reference.step_at(moment);
      expected.from = walked.steps[next].from;
      expected.to = walked.steps[next].to;
      REQUIRE(expected == walked.steps[next]);
      if (expected.temperature) ++known;
    }
    double covered = 0.0;
    for (std::size_t i = 0; i < walked.steps.size(); ++i) {
      const ExposureStep& step = walked.steps[i];
      CHECK(step.from < step.to);
      if (step.temperature && step.humidity) {
        covered += std::chrono::duration<double>(step.to - step.from).count();
      }
      if (i == 0) continue;
      CHECK(walked.steps[i - 1].to == step.from);
      ExposureStep same = walked.steps[i - 1];
      same.from = step.from;
      same.to = step.to;
      CHECK_FALSE(same == step);
    }
    CHECK(walked.summary.coverage_percent ==
          doctest::Approx(100.0 * covered /
                          std::chrono::duration<double>(minutes(to - from)).count()));
  }
  CHECK(known > 10'000);  // the histories are not mostly silence
}

TEST_CASE("two halves walked apart are the whole") {
  for (unsigned seed = 1; seed <= 50; ++seed) {
    CAPTURE(seed);
    const RandomHistory made = random_history(seed);
    const Walked whole = walk(made.jar, 0, 200, made.history, made.placements);
    std::vector<ExposureStep> joined = walk(made.jar, 0, 77, made.history, made.placements).steps;
    for (ExposureStep step : walk(made.jar, 77, 200, made.history, made.placements).steps) {
      ExposureStep same = joined.back();
      same.from = step.from;
      same.to = step.to;
      if (same == step) {
        joined.back().to = step.to;
      } else {
        joined.push_back(step);
      }
    }
    CHECK(joined == whole.steps);
  }
}

TEST_CASE("jars that share the walk of a shelf's air see what each sees alone") {
  std::mt19937 random(5);
  MemoryReader history;
  for (const char* sensor : {"s0", "s1", "s2"}) {
    for (int minute = 0; minute < 3000; minute += 1 + static_cast<int>(random() % 9)) {
      history.add(sensor, minute, 10 + static_cast<double>(random() % 9), 60);
    }
  }
  // s2 is moved from one shelf to the other and outside.
  const std::vector<Placement> placements = {
      hung("s2", "cellar/shelf-2"), hung("s0", "cellar"), hung("s1", "cellar/shelf-1"),
      hung("s2", "cellar/shelf-1", at(700)), hung("s2", "outside", at(1500))};
  std::vector<Jar> jars;
  for (int i = 0; i < 40; ++i) {
    const auto place = [&] { return kPlaces[random() % kPlaces.size()].path; };
    const Instant moved = at(100 * static_cast<int>(random() % 20) + 5);
    jars.push_back(jar_in({{place(), at(0), moved}, {place(), moved, {}}}));
  }
  const Calibrations none;
  const StoodAir shared(history, kPlaces, placements, none);
  for (const int from : {0, 650, 1490, 2000}) {
    for (const int to : {from + 1, from + 60, 3000}) {
      for (const Jar& jar : jars) {
        std::vector<ExposureStep> steps;
        const auto summary = shared.walk(jar, at(from), at(to),
                                         [&](const ExposureStep& step) { steps.push_back(step); });
        const Walked alone = walk(jar, from, to, history, placements);
        REQUIRE(steps == alone.steps);
        REQUIRE(summary == alone.summary);
      }
    }
  }
}

TEST_CASE("thinning keeps the extremes, the ends and the order") {
  std::mt19937 random(3);
  std::vector<ExposureStep> steps;
  for (int i = 0; i < 1000; ++i) {
    ExposureStep step;
    step.from = at(i);
    step.to = at(i + 1);
    if (random() % 10 != 0) {
      step.temperature = Celsius(static_cast<double>(random() % 1000));
      step.humidity = Percent(static_cast<double>(random() % 1000));
    }
    steps.push_back(step);
  }
  const auto extremes = [](const std::vector<ExposureStep>& of) {
    std::vector<double> celsius, percent;
    for (const ExposureStep& step : of) {
      if (!step.temperature) continue;
      celsius.push_back(step.temperature->value());
      percent.push_back(step.humidity->value());
    }
    const auto [coldest, warmest] = std::minmax_element(celsius.begin(), celsius.end());
    const auto [driest, dampest] = std::minmax_element(percent.begin(), percent.end());
    return std::tuple(*coldest, *warmest, *driest, *dampest);
  };

  for (const std::size_t points : {6u, 11u, 12u, 100u, 600u, 999u}) {
    CAPTURE(points);
    const auto thinned = thin(steps, points);
    CHECK(thinned.size() <= points);
    CHECK(thinned.size() * 2 >= points - 5);  // not thinner than asked for without need
    CHECK(thinned.front() == steps.front());
    CHECK(thinned.back() == steps.back());
    CHECK(extremes(thinned) == extremes(steps));
    for (std::size_t i = 1; i < thinned.size(); ++i) {
      CHECK(thinned[i - 1].from < thinned[i].from);
    }
  }
  CHECK(thin(steps, 1000) == steps);
  CHECK(thin(steps, 5000) == steps);
  CHECK(thin(steps, 0).empty());
  CHECK(thin({}, 0).empty());
  // With less room than extremes, the highest temperature is what stays.
  const auto one = thin(steps, 1);
  REQUIRE(one.size() == 1);
  CHECK(one[0].temperature->value() == std::get<1>(extremes(steps)));
}

}  // namespace torpor::daemon
