#include "rules/watch/sensor_judges.h"

#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <utility>

#include "sensors/trust.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

constexpr int kDayMinutes = 24 * 60;

// Two air sensors on one shelf, "first" before "second", and one that hangs alone above.
Layout two_on_a_shelf() {
  Layout layout = a_cellar();
  layout.sensors.resize(1);
  for (const char* id : {"first", "second"}) {
    SensorSpec spec = layout.sensors.front();
    spec.id = id;
    spec.place = "cellar/shelf-1";
    layout.sensors.push_back(spec);
  }
  return layout;
}

RuleBook trust_rules() {
  return {
      a_rule("stuck", "sensor", "time stuck above 10 min", "time stuck below 1 min lasting 6 h"),
      a_rule("erring", "sensor", "doubted readings above 25 % lasting 30 min",
             "doubted readings below 5 % lasting 6 h"),
      a_rule("apart", "sensor", "time disagreeing above 10 min",
             "time disagreeing below 1 min lasting 12 h"),
      a_rule("calm", "sensor", "spread below 0.5 K lasting 3 h"),
      a_rule("warm", "place", "temperature above 21.5 °C lasting 1 h")};
}

// A cellar's air: a day's swing of 2 K, and a sensor's noise of a tenth.
double air_at(int m, std::mt19937& random) {
  const double swing = std::sin(2.0 * 3.14159265358979 * m / kDayMinutes);
  const double noise = static_cast<double>(random() % 3) * 0.1 - 0.1;
  return std::round(10.0 * (20.0 + swing + noise)) / 10.0;
}

// What the two of the shelf send every 10 minutes: the first one stands still from the fifth day.
ReadingsInput of_shelf(int m, std::mt19937& random) {
  const double first = air_at(m, random), second = air_at(m, random);
  ReadingsInput input;
  for (const auto& [sensor, warmth] :
       {std::pair("first", m < 5 * kDayMinutes ? first : 20.3), std::pair("second", second)}) {
    input.readings.push_back(a_reading(sensor, Quantity::temperature, warmth, minute(m)));
    input.readings.push_back(
        a_reading(sensor, Quantity::humidity, 70.0 + 2.0 * (first - 20.0), minute(m)));
  }
  return input;
}

TEST_CASE("a stuck sensor is told once and the other one of its place speaks") {
  Watch watch(settings_of(trust_rules(), two_on_a_shelf()));
  std::mt19937 random(1);
  std::string story;
  std::optional<int> other_speaks;
  for (int m = 0; m < 8 * kDayMinutes; m += 10) {
    const Effects effects = watch.step(minute(m), of_shelf(m, random));
    for (const AlertChange& change : effects.changes) {
      // Said again after half a day, its figures are those of then.
      const bool of_trust = change.alert.subject.kind == SubjectKind::sensor &&
                            change.kind != AlertChangeKind::updated;
      if (of_trust) story += change.alert.rule + " " + change.alert.subject.id + ";";
      if (change.alert.rule == "stuck") {
        CHECK(change.alert.what.find("Sensor first at cellar/shelf-1: 20.3 °C has stood still for "
                                     "") == 0);
      }
    }
    const auto speaker = watch.air_at("cellar/shelf-1").temperature_speaker;
    REQUIRE(speaker.has_value());
    if (*speaker == 2 && !other_speaks) other_speaks = m;
    if (other_speaks) REQUIRE(*speaker == 2);
  }
  // Its spread is that of a whole day: it says so later.
  CHECK(story == "stuck first;calm first;");
  REQUIRE(other_speaks.has_value());
  // By what this air is known to do, and then until the last value that was believed runs out.
  CHECK(*other_speaks > 5 * kDayMinutes + 3 * 60);
  CHECK(*other_speaks < 5 * kDayMinutes + 8 * 60);
  const auto standing = watch.standing("first");
  REQUIRE(standing.has_value());
  CHECK((standing->doubts & kStuck) != 0);
  CHECK(standing->interval == std::chrono::minutes(10));
  CHECK(watch.newest_trusted("first", Quantity::temperature)->measured_at < minute(*other_speaks));
  CHECK(watch.newest("first", Quantity::temperature)->raw == 20.3);
}

// Faults of every kind, thrown in at random, in steps of ten minutes.
class FaultyShelf {
 public:
  explicit FaultyShelf(unsigned seed) : random_(seed) {}

  ReadingsInput at(int m) {
    if (random_() % 100 == 0) fault_ = static_cast<unsigned>(random_() % 7);
    ReadingsInput input = of_shelf(m % (5 * kDayMinutes), random_);
    Reading& warmth = input.readings.front();
    warmth.measured_at = minute(m);
    for (Reading& reading : input.readings) {
      reading.measured_at = reading.received_at = minute(m);
    }
    switch (fault_) {
      case 1:
        warmth.raw = 20.7;
        break;
      case 2:
        warmth.raw = warmth.raw * 1.8 + 32.0;
        break;
      case 3:
        warmth.raw += random_() % 2 == 0 ? 40.0 : 0.0;
        break;
      case 4:
        warmth.raw += 3.0;
        break;
      case 5:
        warmth.raw = 999.0;
        warmth.marks = kOutOfRange;
        break;
      case 6:
        input.readings[1].raw = 100.0;
        break;
      default:
        break;
    }
    return input;
  }

 private:
  std::mt19937 random_;
  unsigned fault_ = 0;
};

TEST_CASE("with faults thrown in, a restart at any point changes nothing") {
  std::size_t doubted = 0, changes = 0;
  for (unsigned seed = 0; seed < 12; ++seed) {
    CAPTURE(seed);
    FaultyShelf shelf(seed);
    std::mt19937 chance(seed);
    const WatchSettings settings = settings_of(trust_rules(), two_on_a_shelf());
    Watch undisturbed(settings);
    auto restarted = std::make_unique<Watch>(settings);
    for (int m = 0; m < 9 * kDayMinutes; m += 10) {
      const ReadingsInput input = shelf.at(m);
      const Effects expected = undisturbed.step(minute(m), input);
      const Effects effects = restarted->step(minute(m), input);
      REQUIRE(effects.changes == expected.changes);
      REQUIRE(effects.notices == expected.notices);
      REQUIRE(effects.doubted.size() == expected.doubted.size());
      REQUIRE(restarted->standing("first") == undisturbed.standing("first"));
      doubted += expected.doubted.size();
      changes += expected.changes.size();
      if (chance() % 40 > 0) continue;
      auto next = std::make_unique<Watch>(settings);
      const std::string snapshot = restarted->snapshot();
      REQUIRE(next->restore(snapshot).has_value());
      REQUIRE(next->snapshot() == snapshot);
      restarted = std::move(next);
    }
  }
  CHECK(doubted > 1000);
  CHECK(changes > 40);
}

TEST_CASE("with faults thrown in, a rehearsal gives the alerts of the live run") {
  for (unsigned seed = 0; seed < 8; ++seed) {
    CAPTURE(seed);
    FaultyShelf live_shelf(seed);
    WatchSettings settings = settings_of(trust_rules(), two_on_a_shelf());
    Watch live(settings);
    settings.clock = Clock::readings;
    Watch rehearsed(settings);
    for (int m = 0; m < 9 * kDayMinutes; m += 10) {
      ReadingsInput input = live_shelf.at(m);
      const Effects expected = live.step(minute(m), input);
      // As the history holds them: with the marks that the live run made.
      for (Reading& reading : input.readings) {
        for (const DoubtedReading& each : expected.doubted) {
          const bool meant = each.sensor == reading.sensor && each.quantity == reading.quantity;
          if (meant) reading.marks |= kDoubted;
        }
      }
      const Effects effects = rehearsed.step(minute(6000000), input);
      REQUIRE(effects.changes == expected.changes);
    }
  }
}

TEST_CASE("a quantity of the judges is unknown until there is enough to say it") {
  Watch watch(settings_of({a_rule("few", "sensor", "doubted readings at most 50 %"),
                           a_rule("spread", "sensor", "spread at most 100 K")},
                          two_on_a_shelf()));
  std::string raised;
  std::mt19937 random(3);
  for (int m = 0; m < 30 * 60; m += 10) {
    for (const AlertChange& change : watch.step(minute(m), of_shelf(m, random)).changes) {
      if (change.kind == AlertChangeKind::updated) continue;
      raised += std::to_string(m) + " " + change.alert.rule + " " + change.alert.subject.id + ";";
    }
  }
  // Eight readings of two quantities each; 24 whole hours, the running one among them.
  CHECK(raised == "30 few first;30 few second;1380 spread first;1380 spread second;");
}

TEST_CASE("a check takes the sensor out of its air and gives a correction from then on") {
  Layout layout = two_on_a_shelf();
  Watch watch(settings_of({}, layout));
  std::mt19937 random(4);
  const auto both = [&](int m, double in_bag) {
    ReadingsInput input = of_shelf(m, random);
    input.readings[0].raw = 20.0;
    input.readings[1].raw = in_bag;
    return watch.step(minute(m), input);
  };
  (void)both(0, 70.0);
  (void)watch.step(minute(5), CheckBegunInput{"first", Salt::table_salt, minute(5)});
  std::vector<FinishedCheck> finished;
  int m = 10;
  for (; m < kDayMinutes && finished.empty(); m += 10) {
    // Five percent low, and slow to come there.
    Effects effects = both(m, 70.3 - 1.2 * std::exp(-m / 40.0));
    finished = std::move(effects.finished);
    if (m > 30) REQUIRE(watch.air_at("cellar/shelf-1").humidity_speaker == std::size_t{2});
  }
  REQUIRE(finished.size() == 1);
  REQUIRE(finished.front().check.has_value());
  CHECK(m >= 6 * 60);
  // Greenspan 1977: 75.47 % over NaCl at 20 degC.
  CHECK(finished.front().check->expected == doctest::Approx(75.47).epsilon(0.001));
  (void)watch.step(minute(m), SensorCheckedInput{"first", *finished.front().check});
  // Nobody has looked yet: it lies in the salt still, and speaks for no air.
  for (const int end = m + 3 * 60; m < end; m += 10) {
    CHECK(both(m, 70.3).finished.empty());
    REQUIRE(watch.air_at("cellar/shelf-1").humidity_speaker == std::size_t{2});
  }
  CHECK(watch.standing("first")->check.find("Take it out") != std::string::npos);
  for (const int end = m + 30; m <= end; m += 10) {
    (void)both(m, 55.0);
    REQUIRE(watch.air_at("cellar/shelf-1").humidity_speaker == std::size_t{2});
  }
  (void)both(m, 55.0);
  CHECK(watch.air_at("cellar/shelf-1").humidity_speaker == std::size_t{1});
  CHECK(watch.air_at("cellar/shelf-1").humidity->value() == doctest::Approx(60.17).epsilon(0.002));
  CHECK(watch.standing("first")->check.empty());
  (void)watch.step(minute(m), CheckWithdrawnInput{"first", *finished.front().check});
  (void)both(m + 10, 55.0);
  CHECK(watch.air_at("cellar/shelf-1").humidity->value() == doctest::Approx(55.0));
}

TEST_CASE("a sensor that is compared goes on speaking, and is corrected from the result on") {
  Watch watch(settings_of({}, two_on_a_shelf()));
  const auto step = [&](int m) {
    return watch.step(minute(m), ReadingsInput{{a_reading("first", Quantity::temperature,
                                                          22.0 + (m % 2) * 0.1, minute(m))}});
  };
  (void)step(0);
  const Instrument beside{Quantity::temperature, 21.0, 0.25};
  (void)watch.step(minute(1), CheckBegunInput{"first", beside, minute(1)});
  std::vector<FinishedCheck> finished;
  int m = 2;
  for (; m < 30 && finished.empty(); ++m) {
    finished = step(m).finished;
    CHECK(watch.air_at("cellar/shelf-1").temperature_speaker == std::size_t{1});
    CHECK((watch.standing("first")->doubts & kInCheck) == 0);
    Watch restored(settings_of({}, two_on_a_shelf()));
    REQUIRE(restored.restore(watch.snapshot()).has_value());
    CHECK(restored.standing("first") == watch.standing("first"));
  }
  REQUIRE(finished.size() == 1);
  CHECK(m == 7);
  CHECK(finished.front().means == CheckMeans(beside));
  (void)watch.step(minute(m), SensorCheckedInput{"first", *finished.front().check});
  (void)step(m);
  CHECK(watch.air_at("cellar/shelf-1").temperature->value() ==
        doctest::Approx(21.0).epsilon(0.005));
  CHECK(watch.standing("first")->check.empty());
}

TEST_CASE("where no interval is given it is learned, and values hold for three of it") {
  Layout layout = two_on_a_shelf();
  layout.sensors.resize(2);
  layout.sensors[1].learns_interval = layout.sensors[1].learns_hold = true;
  const WatchSettings settings = settings_of({}, layout);
  auto watch = std::make_unique<Watch>(settings);
  std::vector<LearnedInterval> learned;
  const auto say = [&](int m) {
    const Effects effects =
        watch->step(minute(m), ReadingsInput{{a_reading("first", Quantity::temperature,
                                                        20.0 + (m % 3) * 0.1, minute(m))}});
    learned.insert(learned.end(), effects.learned.begin(), effects.learned.end());
  };
  const auto speaks = [&](int m) {
    (void)watch->step(minute(m), TickInput{});
    return watch->air_at("cellar/shelf-1").temperature_speaker == std::size_t{1};
  };
  int m = 0;
  for (; m < 14; m += 2) say(m);  // seven gaps of two minutes wait for the eighth
  CHECK(learned.empty());
  CHECK(speaks(12 + 29));  // the layout's own 30 minutes
  watch = std::make_unique<Watch>(settings);
  for (m = 0; m <= 16; m += 2) say(m);
  REQUIRE(learned.size() == 1);
  CHECK(learned.front().from == minute(16));
  CHECK(learned.front().interval == std::chrono::minutes(2));
  CHECK(learned.front().hold == std::chrono::minutes(6));
  CHECK(speaks(16 + 5));
  CHECK((watch->standing("first")->doubts & kSilent) == 0);
  CHECK_FALSE(speaks(16 + 6));
  (void)speaks(16 + 7);
  CHECK((watch->standing("first")->doubts & kSilent) != 0);

  // It speaks more seldom now; a restart on the way changes nothing.
  learned.clear();
  for (m = 40; m <= 400; m += 10) {
    say(m);
    auto next = std::make_unique<Watch>(settings);
    REQUIRE(next->restore(watch->snapshot()).has_value());
    REQUIRE(next->snapshot() == watch->snapshot());
    watch = std::move(next);
  }
  REQUIRE_FALSE(learned.empty());
  CHECK(learned.back().interval == std::chrono::minutes(10));
  CHECK(speaks(400 + 29));
  CHECK_FALSE(speaks(400 + 30));
}

TEST_CASE("a low battery is told, and is neither a reading of the air nor a sign of life") {
  Layout layout = two_on_a_shelf();
  const WatchSettings settings =
      settings_of({a_rule("low", "sensor", "battery below 15 % lasting 1 h",
                          "battery above 30 % lasting 10 min"),
                   a_rule("quiet", "sensor", "time since reading above 1 h")},
                  layout);
  Watch watch(settings);
  std::string story;
  const auto step = [&](int m, std::vector<Reading> readings) {
    for (const AlertChange& change :
         watch.step(minute(m), ReadingsInput{std::move(readings)}).changes) {
      if (change.alert.subject.id != "first" || change.kind == AlertChangeKind::updated) continue;
      story += std::to_string(m) + " " + std::string(alert_change_name(change.kind)) + " " +
               change.alert.rule + ";";
      if (change.kind == AlertChangeKind::raised && change.alert.rule == "low") {
        CHECK(change.alert.what ==
              "Sensor first at cellar/shelf-1: battery 14 %, below 15 % for over 1 h.");
      }
    }
  };
  const auto warmth = [](int m) {
    return a_reading("first", Quantity::temperature, 20.0 + (m % 20) / 10.0, minute(m));
  };
  const auto charge = [](double percent, int m) {
    return a_reading("first", Quantity::battery, percent, minute(m));
  };
  step(0, {warmth(0), charge(60.0, 0)});
  step(10, {warmth(10), charge(14.0, 10)});
  // What is older than the newest charge is nothing new, and what none has is no charge.
  step(20, {warmth(20), charge(80.0, 5), charge(255.0, 20)});
  CHECK((watch.standing("first")->doubts & kBatteryAstray) != 0);
  step(30, {warmth(30), charge(14.0, 30)});
  CHECK((watch.standing("first")->doubts & kLowBattery) != 0);
  CHECK(watch.air_at("cellar/shelf-1").temperature_speaker == std::size_t{1});
  // It goes on telling its charge alone.
  for (int m = 40; m <= 120; m += 10) step(m, {charge(14.0, m)});
  CHECK_FALSE(watch.air_at("cellar/shelf-1").temperature_speaker == std::size_t{1});
  Watch restored(settings);
  REQUIRE(restored.restore(watch.snapshot()).has_value());
  CHECK(restored.standing("first") == watch.standing("first"));
  for (int m = 130; m <= 160; m += 10) step(m, {warmth(m), charge(100.0, m)});
  CHECK(story == "90 raised low;100 raised quiet;140 eased low;140 eased quiet;");
}

}  // namespace
}  // namespace torpor::rules
