// How long a jar's model takes: nanoseconds of processor time per jar and reading, jars per second
// of one reading's fan-out, three years of minutes for one jar, and the cost of a verdict.
//   torpor_culture_bench [jars] [days]
// Processor time of this process, so that a busy machine does not change the figures.
#include <fmt/core.h>

#include <cmath>
#include <cstdlib>
#include <ctime>
#include <memory>
#include <numbers>
#include <vector>

#include "rules/culture/jar_model.h"

namespace {

using namespace torpor;
using namespace torpor::rules::culture;

constexpr std::int64_t kMinute = 60000;
constexpr std::int64_t kClosed = 1772409600000;  // 2026-03-02T00:00:00Z

JarRecipe recipe(int number) {
  JarRecipe made;
  made.rice = Grams(1000 + 5 * number);
  made.raw = Grams(480 + 2 * number);
  made.sugar = Grams(900 + 4 * number);
  made.topping = Grams(number % 3 == 0 ? 0 : 60);
  made.cover = static_cast<Cover>(number % static_cast<int>(kCovers));
  made.mouth_mm = 110;
  made.volume_ml = 3800;
  made.closed = instant_of(kClosed);
  return made;
}

// A cellar's minute: daily and yearly swing, and noise so that hardly two readings are equal.
Air cellar(std::int64_t minute) {
  const double day = 2 * std::numbers::pi * static_cast<double>(minute) / 1440;
  const double noise = static_cast<double>((minute * 7919) % 101 - 50) * 0.004;
  const double t = 17 + 3 * std::sin(day) + 6 * std::sin(day / 365) + noise;
  const double rh = 72 + 8 * std::cos(day) + 6 * std::sin(day / 365) + 5 * noise;
  return *Air::of(Celsius(t), Percent(rh));
}

class Stopwatch {
 public:
  [[nodiscard]] double seconds() const {
    return static_cast<double>(std::clock() - start_) / CLOCKS_PER_SEC;
  }

 private:
  std::clock_t start_ = std::clock();
};

}  // namespace

int main(int argc, char** argv) {
  const int jars = argc > 1 ? std::atoi(argv[1]) : 20;
  const int days = argc > 2 ? std::atoi(argv[2]) : 365;
  const auto profile = std::make_shared<const Profile>();
  std::vector<JarModel> shelf;
  for (int i = 0; i < jars; ++i) shelf.emplace_back(profile, recipe(i));

  const std::int64_t minutes = std::int64_t{days} * 1440;
  Stopwatch stepping;
  for (std::int64_t m = 0; m < minutes; ++m) {
    const Air air = cellar(m);
    const Instant until = instant_of(kClosed + (m + 1) * kMinute);
    for (JarModel& jar : shelf) jar.step(air, until);
  }
  const double steps = static_cast<double>(minutes) * jars;
  const double each = stepping.seconds() / steps;
  fmt::print("{} jars, {} days of minutes: {:.1f} s, {:.1f} ns per jar and reading\n", jars, days,
             stepping.seconds(), each * 1e9);
  fmt::print("one reading's fan-out: {:.1f} million jars a second\n", 1e-6 / each);
  fmt::print("200 jars through a year of minutes: {:.1f} s\n", each * 200 * 525600);

  Stopwatch years;
  JarModel old(profile, recipe(1));
  for (std::int64_t m = 0; m < 3 * 525600; ++m) {
    old.step(cellar(m), instant_of(kClosed + (m + 1) * kMinute));
  }
  fmt::print("three years of minutes for one jar, its air worked out too: {:.2f} s\n",
             years.seconds());

  constexpr int kAsked = 200;
  std::size_t reasons = 0;
  Stopwatch asking;
  for (int i = 0; i < kAsked; ++i) {
    reasons += shelf[static_cast<std::size_t>(i % jars)].verdict().reasons.size();
  }
  fmt::print("a verdict with its forecast: {:.0f} us ({} reasons)\n",
             asking.seconds() * 1e6 / kAsked, reasons);
  Stopwatch saving;
  std::size_t bytes = 0;
  for (int i = 0; i < kAsked; ++i) {
    bytes = shelf[static_cast<std::size_t>(i % jars)].snapshot().size();
  }
  fmt::print("a snapshot: {:.0f} us, {} bytes; a jar in memory: {} bytes\n",
             saving.seconds() * 1e6 / kAsked, bytes, sizeof(JarModel));
  return 0;
}
