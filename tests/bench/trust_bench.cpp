// Faults put into a recorded series by a seeded tool, and what the judges of sensors/ make of them:
// detection rate, time to detection, false alarms a month. A measurement, not a test:
//   torpor_trust_bench SERIES.csv [SEEDS]
// The series: a header, then time (YYYY-MM-DD HH:MM:SS), temperature in degC, humidity in percent.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <map>
#include <random>
#include <string>

#include "rules/watch/sensor_judges.h"
#include "sensors/trust.h"

namespace torpor {
namespace {

struct Row {
  Instant at;
  double temperature = 0.0, humidity = 0.0;
  bool missing = false;
  [[nodiscard]] double& of(Quantity quantity) {
    return quantity == Quantity::temperature ? temperature : humidity;
  }
};
using Series = std::vector<Row>;
using Random = std::mt19937;

Series read_series(const char* path) {
  std::ifstream file(path);
  std::string line;
  std::getline(file, line);
  Series series;
  while (std::getline(file, line)) {
    int year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0;
    Row row;
    if (std::sscanf(line.c_str(), "%d-%d-%d %d:%d:%d,%lf,%lf", &year, &month, &day, &hour, &minute,
                    &second, &row.temperature, &row.humidity) != 8) {
      continue;
    }
    using namespace std::chrono;
    row.at = sys_days(std::chrono::year(year) / month / day) + hours(hour) + minutes(minute) +
             seconds(second);
    series.push_back(row);
  }
  return series;
}

// A fault in [from, to) of the series; the last two weeks of `to` may be cut by its end.
struct Fault {
  std::string name;
  Quantity quantity;
  double hours;          // how long it lasts
  std::uint16_t doubts;  // one of these within the fault is a detection
  std::function<void(Series&, std::size_t from, std::size_t to, Random&)> put;
  bool neighbours = false;
};

double uniform(Random& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}

Fault offset(std::string name, Quantity q, double size, std::uint16_t doubts, bool neighbours) {
  return {std::move(name),
          q,
          72,
          doubts,
          [=](Series& s, std::size_t from, std::size_t to, Random& random) {
            const double sign = uniform(random, -1, 1) < 0 ? -1.0 : 1.0;
            for (std::size_t i = from; i < to; ++i) s[i].of(q) += sign * size;
          },
          neighbours};
}
Fault stuck(std::string name, Quantity q, double hours) {
  return {std::move(name), q, hours, kStuck,
          [=](Series& s, std::size_t from, std::size_t to, Random&) {
            for (std::size_t i = from; i < to; ++i) s[i].of(q) = s[from].of(q);
          }};
}
Fault spike(std::string name, Quantity q, double size) {
  return {std::move(name), q, 0.02, kJump | kImpossible,
          [=](Series& s, std::size_t from, std::size_t, Random& random) {
            s[from].of(q) += uniform(random, -1, 1) < 0 ? -size : size;
          }};
}
Fault drift(std::string name, Quantity q, double per_week) {
  return {std::move(name),
          q,
          24 * 60,
          kDrifts | kDisagrees,
          [=](Series& s, std::size_t from, std::size_t to, Random&) {
            for (std::size_t i = from; i < to; ++i) {
              const auto weeks = static_cast<double>((s[i].at - s[from].at).count()) / 604800000.0;
              s[i].of(q) += per_week * weeks;
            }
          },
          true};
}
Fault dropout(std::string name, double hours) {
  return {std::move(name), Quantity::temperature, hours, kSilent,
          [](Series& s, std::size_t from, std::size_t to, Random&) {
            for (std::size_t i = from; i < to; ++i) s[i].missing = true;
          }};
}

std::vector<Fault> all_faults() {
  const auto t = Quantity::temperature, h = Quantity::humidity;
  std::vector<Fault> faults;
  for (const double hours : {6.0, 24.0, 48.0}) {
    const std::string span = std::to_string(static_cast<int>(hours)) + " h";
    faults.push_back(stuck("stuck temperature " + span, t, hours));
    faults.push_back(stuck("stuck humidity " + span, h, hours));
  }
  for (const double size : {2.0, 5.0, 20.0}) {
    faults.push_back(spike("spike " + std::to_string(static_cast<int>(size)) + " K", t, size));
  }
  for (const double size : {5.0, 15.0, 40.0}) {
    faults.push_back(spike("spike " + std::to_string(static_cast<int>(size)) + " %", h, size));
  }
  for (const double size : {1.0, 2.0, 5.0}) {
    const std::string name = "offset " + std::to_string(static_cast<int>(size)) + " K";
    faults.push_back(offset(name + ", alone", t, size, kJump, false));
    faults.push_back(offset(name + ", 3 sensors", t, size, kJump | kOddOneOut, true));
  }
  for (const double size : {5.0, 10.0, 20.0}) {
    const std::string name = "offset " + std::to_string(static_cast<int>(size)) + " %";
    faults.push_back(offset(name + ", alone", h, size, kJump, false));
    faults.push_back(offset(name + ", 3 sensors", h, size, kJump | kOddOneOut, true));
  }
  for (const double rate : {1.0, 3.0, 5.0}) {
    faults.push_back(
        drift("drift " + std::to_string(static_cast<int>(rate)) + " %/week, 3 sensors", h, rate));
  }
  faults.push_back(drift("drift 1 K/week, 3 sensors", t, 1.0));
  faults.push_back({"degrees F sent as C", t, 24, kWrongUnit,
                    [](Series& s, std::size_t from, std::size_t to, Random&) {
                      for (std::size_t i = from; i < to; ++i)
                        s[i].temperature = s[i].temperature * 1.8 + 32.0;
                    }});
  faults.push_back({"kelvin sent as C", t, 24, kImpossible,
                    [](Series& s, std::size_t from, std::size_t to, Random&) {
                      for (std::size_t i = from; i < to; ++i) s[i].temperature += 273.15;
                    }});
  faults.push_back({"a share sent as %", h, 24, kWrongUnit,
                    [](Series& s, std::size_t from, std::size_t to, Random&) {
                      for (std::size_t i = from; i < to; ++i) s[i].humidity /= 100.0;
                    }});
  faults.push_back({"at 100 % for 12 h", h, 12, kSaturated,
                    [](Series& s, std::size_t from, std::size_t to, Random&) {
                      for (std::size_t i = from; i < to; ++i) s[i].humidity = 100.0;
                    }});
  for (const double size : {0.3, 1.0, 5.0}) {
    char name[40];
    std::snprintf(name, sizeof name, "second device %.1f K off", size);
    faults.push_back(
        {name, t, 24, kTwoDevices, [=](Series& s, std::size_t from, std::size_t to, Random&) {
           for (std::size_t i = from; i < to; i += 2) s[i].temperature += size;
         }});
  }
  faults.push_back(dropout("dropout 5 min", 5.0 / 60.0));
  faults.push_back(dropout("dropout 2 h", 2));
  return faults;
}

struct Flag {
  Instant at;
  std::uint16_t doubts;
  std::string reason;
};

// Sensors on one shelf: one, or three that are compared.
rules::Layout shelf_of(std::size_t sensors) {
  rules::Layout layout;
  layout.places.push_back({"shelf", false});
  for (std::size_t i = 0; i < sensors; ++i) {
    layout.sensors.push_back({std::string(1, static_cast<char>('a' + i)),
                              "shelf",
                              "",
                              rules::Senses::air,
                              {Quantity::temperature, Quantity::humidity},
                              std::chrono::minutes(1),
                              std::chrono::minutes(3)});
  }
  return layout;
}

// All that is doubted in a series, by the judges as the engine asks them. With `neighbours` two
// more sensors hang beside it: the air a few minutes later, each with an offset and noise of its
// own.
std::vector<Flag> judge(const Series& clean, Series faulty, const Fault* fault, Random& random) {
  std::vector<Flag> flags;
  const bool compared_with = fault != nullptr && fault->neighbours;
  rules::SensorJudges judges(shelf_of(compared_with ? 3 : 1), {}, {}, std::chrono::hours(2));
  const auto say = [&](std::size_t sensor, Instant at, Quantity quantity, double value) {
    const bool warmth = quantity == Quantity::temperature;
    return judges.judge(sensor, {"x", quantity, value, warmth ? Unit::celsius : Unit::percent, at,
                                 at, kStampedOnArrival});
  };
  const auto keep = [&](Instant at, std::uint16_t doubts) {
    if (doubts == 0) return;
    const rules::SensorStanding standing = judges.standing(0, at);
    flags.push_back({at, doubts, standing.reasons.empty() ? "" : standing.reasons.front()});
  };
  const Quantity compared = fault != nullptr ? fault->quantity : Quantity::humidity;
  const double scale = compared == Quantity::temperature ? 0.2 : 1.0;
  const double off1 = uniform(random, -scale, scale), off2 = uniform(random, -scale, scale);
  std::normal_distribution<double> noise(0.0, 0.3 * scale);
  Series late = clean;
  for (std::size_t i = 0; i < faulty.size(); ++i) {
    Row& row = faulty[i];
    if (compared_with) {
      (void)say(1, row.at, compared, late[i < 5 ? 0 : i - 5].of(compared) + off1 + noise(random));
      (void)say(2, row.at, compared, late[i < 20 ? 0 : i - 20].of(compared) + off2 + noise(random));
    }
    if (row.missing) {
      keep(row.at, judges.standing(0, row.at).doubts);
      continue;
    }
    keep(row.at, say(0, row.at, Quantity::temperature, row.temperature));
    keep(row.at, say(0, row.at, Quantity::humidity, row.humidity));
  }
  return flags;
}

double days_of(const Series& series) {
  return static_cast<double>((series.back().at - series.front().at).count()) / 86400000.0;
}

// Flags less than an hour apart are one alarm.
std::size_t alarms(const std::vector<Flag>& flags) {
  std::size_t count = 0;
  std::optional<Instant> last;
  for (const Flag& flag : flags) {
    if (!last || flag.at - *last > std::chrono::hours(1)) ++count;
    last = flag.at;
  }
  return count;
}

void measure(const Series& clean, const Fault& fault, int seeds) {
  int detected = 0;
  std::size_t false_alarms = 0;
  double healthy_days = 0.0;
  std::vector<double> delays;
  const Instant start = clean.front().at;
  for (int seed = 0; seed < seeds; ++seed) {
    Random random(static_cast<unsigned>(seed) + 1);
    Series faulty = clean;
    const bool weeks = fault.hours > 24 * 20;
    const double onset = weeks ? 7.0 : uniform(random, 4.0, days_of(clean) - 4.0);
    const auto index = [&](double day) {
      const Instant when = start + Duration(static_cast<std::int64_t>(day * 86400000.0));
      return static_cast<std::size_t>(
          std::lower_bound(faulty.begin(), faulty.end(), when,
                           [](const Row& row, Instant t) { return row.at < t; }) -
          faulty.begin());
    };
    const std::size_t from = index(onset);
    const std::size_t to =
        std::max(from + 1, std::min(index(onset + fault.hours / 24.0), faulty.size()));
    fault.put(faulty, from, to, random);
    const Instant began = faulty[from].at, ended = faulty[to - 1].at;
    std::vector<Flag> outside;
    std::optional<Instant> first;
    for (const Flag& flag : judge(clean, std::move(faulty), &fault, random)) {
      const bool inside = flag.at >= began && flag.at <= ended;
      // What follows a fault for half a day is still its doing.
      if (inside && (flag.doubts & fault.doubts) != 0 && !first) first = flag.at;
      if (flag.at < began || flag.at > ended + std::chrono::hours(12)) outside.push_back(flag);
    }
    if (first) {
      ++detected;
      delays.push_back(static_cast<double>((*first - began).count()) / 3600000.0);
    }
    false_alarms += alarms(outside);
    healthy_days += days_of(clean) - static_cast<double>((ended - began).count()) / 86400000.0;
  }
  std::sort(delays.begin(), delays.end());
  std::printf("%-34s %4d %% ", fault.name.c_str(), 100 * detected / seeds);
  if (delays.empty()) {
    std::printf("%10s", "-");
  } else {
    std::printf("%8.1f h", delays[delays.size() / 2]);
  }
  std::printf("  %6.2f\n", static_cast<double>(false_alarms) / healthy_days * 30.0);
}

// Repeats the series until it is `weeks` long, so that slow faults have time.
Series stretched(const Series& series, double weeks) {
  Series all = series;
  const Duration length = series.back().at - series.front().at + std::chrono::minutes(1);
  while (days_of(all) < weeks * 7.0) {
    const Duration shift = (all.back().at - series.front().at + std::chrono::minutes(1));
    (void)length;
    for (Row row : series) {
      row.at += shift;
      all.push_back(row);
    }
  }
  return all;
}

}  // namespace
}  // namespace torpor

int main(int count, char** arguments) {
  using namespace torpor;
  const Series clean = count > 1 ? read_series(arguments[1]) : Series{};
  const int seeds = count > 2 ? std::atoi(arguments[2]) : 20;
  if (clean.size() < 2 || days_of(clean) < 10.0 || seeds < 1) {
    std::fprintf(stderr, "usage: torpor_trust_bench SERIES.csv [SEEDS]; at least 10 days\n");
    return 2;
  }
  Random random(1);
  const auto untouched = judge(clean, clean, nullptr, random);
  std::printf("untouched: %zu rows, %.1f days, %zu readings doubted, %zu alarms, %.2f a month\n",
              clean.size(), days_of(clean), untouched.size(), alarms(untouched),
              static_cast<double>(alarms(untouched)) / days_of(clean) * 30.0);
  std::map<std::uint16_t, int> told;
  for (const Flag& flag : untouched) {
    if (told[flag.doubts]++ < 5) {
      std::printf("  day %.2f: %s\n",
                  static_cast<double>((flag.at - clean.front().at).count()) / 86400000.0,
                  flag.reason.c_str());
    }
  }
  std::printf("%-34s %6s %10s  %s\n", "fault", "found", "median", "false/month");
  const Series months = stretched(clean, 9.0);
  for (const Fault& fault : all_faults()) {
    measure(fault.hours > 24 * 20 ? months : clean, fault, seeds);
  }
  return 0;
}
