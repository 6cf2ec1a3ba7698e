// What one reading costs the engine. Not a test: prints a table.
//
//   torpor_watch_bench [readings per row [sensors rules jars]]
//
// Three more numbers: that row alone. Its instructions, where valgrind counts them, do not depend
// on caches: `valgrind --tool=callgrind` twice, with other numbers of readings, and subtract.
//
// Every sensor hangs on a shelf of its own, jars are spread over the shelves, and of the rules half
// concern places, a quarter jars and a quarter sensors. The baseline of each row, in the same run,
// only walks the same readings and looks each sensor up in a map. Processor time, not wall time:
// other work on the machine is not the engine's. Four rounds of messages go before the measured
// ones, so that every sensor is live and the first alerts are raised.
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <map>
#include <string>
#include <vector>

#include "rules/watch/watch.h"

namespace torpor::rules {
namespace {

constexpr Instant kStart = instant_of(1772409600000);  // 2026-03-02T00:00:00Z

struct Size {
  int sensors, rules, jars;
};

std::string shelf(int i) { return "cellar/shelf-" + std::to_string(i); }

Rule rule(int i, int count) {
  const std::string concerns = i < count / 2 ? "place" : i < count * 3 / 4 ? "jar" : "sensor";
  // Limits spread about what the readings do, so that some stand, some ease and most do nothing.
  const std::string limit = std::to_string(22 + i % 9);
  std::string when = "temperature above " + limit + " °C lasting 2 h";
  if (i % 3 == 1) when = "humidity above " + std::to_string(70 + i % 20) + " % lasting 1 h";
  if (i % 3 == 2) when = "temperature above " + limit + " °C and dew point above 14 °C";
  if (concerns == "sensor") when = "time since reading above " + std::to_string(60 + i) + " min";
  auto checked =
      check_rule({"rule-" + std::to_string(i), concerns, when, "", "this-week", "Measured.", {}});
  if (!checked) {
    std::fprintf(stderr, "%s\n", checked.error().front().message.c_str());
    std::exit(1);
  }
  return *checked;
}

WatchSettings settings_of(const Size& size) {
  WatchSettings settings;
  for (int i = 0; i < size.sensors; ++i) {
    settings.layout.places.push_back({shelf(i), false});
    settings.layout.sensors.push_back({"s" + std::to_string(i),
                                       shelf(i),
                                       "",
                                       Senses::air,
                                       {Quantity::temperature, Quantity::humidity},
                                       std::chrono::minutes(1),
                                       std::chrono::minutes(3)});
  }
  for (int i = 0; i < size.rules; ++i) settings.book.push_back(rule(i, size.rules));
  return settings;
}

// One message of each sensor a minute, temperature and humidity together, in a daily swing.
std::vector<ReadingsInput> messages(const Size& size, int first, int count) {
  std::vector<ReadingsInput> all;
  for (int n = first; n < first + count; ++n) {
    const int sensor = n % size.sensors;
    const Instant at = kStart + std::chrono::minutes(n / size.sensors) +
                       std::chrono::milliseconds(sensor * 60000 / size.sensors);
    const double hours = std::chrono::duration<double, std::ratio<3600>>(at - kStart).count();
    const double swing = std::sin(hours / 24.0 * 2.0 * 3.14159265358979) + 0.05 * (n * 7 % 11);
    const std::string id = "s" + std::to_string(sensor);
    all.push_back({{{id, Quantity::temperature, 25.0 + 4.0 * swing, Unit::celsius, at, at, 0},
                    {id, Quantity::humidity, 75.0 - 10.0 * swing, Unit::percent, at, at, 0}}});
  }
  return all;
}

double seconds_since(std::clock_t start) {
  return static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
}

double baseline_seconds(const Size& size, const std::vector<ReadingsInput>& inputs, double& sum) {
  std::map<std::string, double> newest;
  for (int i = 0; i < size.sensors; ++i) newest["s" + std::to_string(i)] = 0.0;
  const std::clock_t start = std::clock();
  for (const ReadingsInput& input : inputs) {
    for (const Reading& reading : input.readings)
      newest.find(reading.sensor)->second += reading.raw;
  }
  const double seconds = seconds_since(start);
  for (const auto& [id, value] : newest) sum += value;
  return seconds;
}

void measure(const Size& size, int readings) {
  const int before = 4 * size.sensors;
  const std::vector<ReadingsInput> inputs = messages(size, before, readings / 2);
  double sum = 0.0;
  const double baseline = baseline_seconds(size, inputs, sum);
  Watch watch(settings_of(size));
  for (int i = 0; i < size.jars; ++i) {
    const JarPlacedInput placed{"B-" + std::to_string(i), shelf(i % size.sensors), kStart};
    (void)watch.step(kStart, placed);
  }
  for (const ReadingsInput& input : messages(size, 0, before)) {
    (void)watch.step(input.readings.front().measured_at, input);
  }
  std::size_t changes = 0;
  const std::clock_t start = std::clock();
  for (const ReadingsInput& input : inputs) {
    changes += watch.step(input.readings.front().measured_at, input).changes.size();
  }
  const double seconds = seconds_since(start);
  const double count = 2.0 * static_cast<double>(inputs.size());
  const double jar_rules = size.rules * 3 / 4 - size.rules / 2;
  const double touched =
      size.rules / 2 + jar_rules * size.jars / size.sensors + (size.rules - size.rules * 3 / 4);
  std::printf("%8d %6d %7d %11.1f %12.0f %14.1f %12.0f %9zu%s\n", size.sensors, size.rules,
              size.jars, touched, seconds / count * 1e9, seconds / count * 1e9 / touched,
              baseline / count * 1e9, changes, sum == 0.0 ? "!" : "");
  std::fflush(stdout);
}

}  // namespace
}  // namespace torpor::rules

int main(int argc, char** argv) {
  using torpor::rules::Size;
  const int readings = argc > 1 ? std::atoi(argv[1]) : 20000;
  std::printf("%8s %6s %7s %11s %12s %14s %12s %9s\n", "sensors", "rules", "jars", "instances/r",
              "ns/reading", "ns/instance", "baseline ns", "changes");
  if (argc > 4) {
    torpor::rules::measure({std::atoi(argv[2]), std::atoi(argv[3]), std::atoi(argv[4])}, readings);
    return 0;
  }
  for (const Size& size :
       {Size{10, 20, 10}, Size{100, 20, 100}, Size{1000, 20, 1000}, Size{10, 200, 10},
        Size{100, 200, 100}, Size{1000, 200, 1000}, Size{10, 20, 1000}, Size{10, 20, 10000},
        Size{1000, 20, 10000}, Size{100, 200, 10000}}) {
    torpor::rules::measure(size, readings);
  }
  return 0;
}
