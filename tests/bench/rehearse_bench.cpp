// A year rehearsed, beside what SQLite takes just to read its rows, in the same run:
//
//   torpor_rehearse_bench [FOLDER [DAYS [JARS]]]
//
// 30 sensors on 30 shelves speak every ten minutes of temperature and humidity, through seasons,
// days and a damp month; JARS (200) stand on the shelves. The baseline is the narrowest table of
// one row a reading, read in order of time through SQLite's own interface.
#include <fmt/format.h>
#include <sqlite3.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <functional>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "config/rulebook.h"
#include "daemon/history/store.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/sentence.h"
#include "daemon/service/rehearsal.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

constexpr Instant kStart = instant_of(1767225600000);  // 2026-01-01T00:00:00Z
constexpr int kSensors = 30;
constexpr auto kEvery = std::chrono::minutes(10);

// Of the processor, not of the wall: other work on the machine is not ours. The middle one of
// `times` goes: the same memory is shared with that work.
double seconds_of(int times, const std::function<void()>& work) {
  std::vector<double> seconds;
  for (int i = 0; i < times; ++i) {
    const std::clock_t start = std::clock();
    work();
    seconds.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
  }
  std::sort(seconds.begin(), seconds.end());
  return seconds[seconds.size() / 2];
}

// A benchmark that measured failures would lie: it stops at the first one.
template <class Value, class Fault>
Value must(tl::expected<Value, Fault> result) {
  if (!result) {
    fmt::print(stderr, "a step of the benchmark failed\n");
    std::exit(1);
  }
  if constexpr (!std::is_void_v<Value>) return std::move(*result);
}

std::string shelf(int i) { return fmt::format("cellar/shelf-{}", i + 1); }
std::string sensor(int i) { return fmt::format("s{}", i + 1); }

rules::Layout a_year_layout() {
  rules::Layout layout;
  layout.places.push_back({"cellar", false});
  for (int i = 0; i < kSensors; ++i) {
    layout.places.push_back({shelf(i), false});
    layout.sensors.push_back({sensor(i),
                              shelf(i),
                              "",
                              rules::Senses::air,
                              {Quantity::temperature, Quantity::humidity},
                              kEvery,
                              3 * kEvery});
  }
  return layout;
}

// degC and %: a year, a day, a damp October and a sensor's noise, to its resolution.
double value_of(int at_sensor, int step, Quantity quantity, std::mt19937& random) {
  const double day = step / 144.0;
  const double season = std::sin(2.0 * std::numbers::pi * (day - 105.0) / 365.0);
  const double hour = std::sin(2.0 * std::numbers::pi * (day - 0.4));
  const double noise = static_cast<double>(random() % 1000) / 1000.0 - 0.5;
  if (quantity == Quantity::temperature) {
    return std::round(10.0 * (15.0 + 6.0 * season + 0.8 * hour + 0.05 * at_sensor + 0.4 * noise)) /
           10.0;
  }
  const double damp = day > 273.0 && day < 304.0 ? 14.0 : 0.0;
  return std::round(10.0 * (70.0 + damp - 3.0 * hour + 0.1 * at_sensor + 2.0 * noise)) / 10.0;
}

void fill(Store& store, sqlite3* plain, int days) {
  sqlite3_stmt* insert = nullptr;
  sqlite3_prepare_v2(plain, "INSERT INTO r VALUES (?1, ?2, ?3, ?4)", -1, &insert, nullptr);
  std::mt19937 random(1);
  for (int day = 0; day < days; ++day) {
    must(store.begin());
    sqlite3_exec(plain, "BEGIN", nullptr, nullptr, nullptr);
    for (int step = day * 144; step < (day + 1) * 144; ++step) {
      const Instant at = kStart + step * kEvery;
      for (int i = 0; i < kSensors; ++i) {
        for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
          const double value = value_of(i, step, quantity, random);
          const Unit unit = quantity == Quantity::temperature ? Unit::celsius : Unit::percent;
          must(store.put_reading({sensor(i), quantity, value, unit, at, at, kUnmarked}));
          sqlite3_bind_int64(insert, 1, unix_ms(at));
          sqlite3_bind_int(insert, 2, i);
          sqlite3_bind_int(insert, 3, static_cast<int>(quantity));
          sqlite3_bind_double(insert, 4, value);
          if (sqlite3_step(insert) != SQLITE_DONE) std::exit(1);
          sqlite3_reset(insert);
        }
      }
    }
    must(store.commit());
    sqlite3_exec(plain, "COMMIT", nullptr, nullptr, nullptr);
  }
  sqlite3_finalize(insert);
}

double read_plain(sqlite3* plain, std::uint64_t& rows) {
  return seconds_of(7, [&] {
    rows = 0;
    sqlite3_stmt* select = nullptr;
    sqlite3_prepare_v2(plain, "SELECT at, sensor, quantity, value FROM r ORDER BY at", -1, &select,
                       nullptr);
    double sum = 0.0;
    while (sqlite3_step(select) == SQLITE_ROW) {
      sum += sqlite3_column_double(select, 3) + sqlite3_column_int(select, 1);
      sum += static_cast<double>(sqlite3_column_int64(select, 0) % 2);
      ++rows;
    }
    sqlite3_finalize(select);
    if (sum == 0.0) std::exit(1);
  });
}

// Says nothing of the world: a notebook at a desk.
class Desk final : public LedgerView {
 public:
  std::vector<std::string> places() const override {
    std::vector<std::string> all{"cellar"};
    for (int i = 0; i < kSensors; ++i) all.push_back(shelf(i));
    return all;
  }
  std::string describe_jar(const Jar&) const override { return {}; }
  std::string describe_place(std::string_view) const override { return {}; }
  std::string describe_sensor(std::string_view) const override { return {}; }
  std::vector<ToldSensor> sensors() const override { return {}; }
  std::vector<rules::Alert> open_alerts() const override { return {}; }
  std::optional<rules::Standing> standing(std::string_view) const override { return std::nullopt; }
  std::string todo() const override { return {}; }
  std::optional<rules::culture::JarModel> model(std::string_view) const override { return {}; }
};

Ledger a_ledger(int jars) {
  Ledger ledger;
  const auto zone = must(LocalTime::in_zone("UTC"));
  const Instant now = kStart + std::chrono::hours(1);
  for (int i = 0; i < jars; ++i) {
    const std::string text = fmt::format(
        "new jar B-{:03} in {} stage IMO-2 rice 1200 g raw 560 g sugar {} g topping 60 g vessel "
        "glass 3.8 l mouth 11 cm cover paper closed 2026-01-01T00:00",
        i + 1, shelf(i % kSensors), 1000 + 10 * (i % 40));
    const auto sentence = parse_sentence(text, zone);
    if (!sentence || !ledger.tell(*sentence, text, now, now, zone, Desk())) std::exit(1);
  }
  return ledger;
}

int run(const fs::path& parent, int days, int jars) {
  std::string name = (parent / "torpor-bench-XXXXXX").string();
  if (::mkdtemp(name.data()) == nullptr) {
    fmt::print(stderr, "cannot make a folder in {}\n", parent.string());
    return 1;
  }
  const fs::path folder = name;
  sqlite3* plain = nullptr;
  sqlite3_open((folder / "plain").c_str(), &plain);
  sqlite3_exec(plain,
               "PRAGMA synchronous=OFF; CREATE TABLE r (at INTEGER, sensor INTEGER, quantity "
               "INTEGER, value REAL, PRIMARY KEY (at, sensor, quantity)) WITHOUT ROWID",
               nullptr, nullptr, nullptr);
  rules::WatchSettings settings;
  settings.layout = a_year_layout();
  settings.book = config::read_rulebook(config::built_in_rulebook(), "built-in").rules;
  {
    const auto store = must(Store::open(folder / "history"));
    for (const rules::SensorSpec& spec : settings.layout.sensors) {
      must(store->put_placement({spec, instant_of(0)}));
    }
    fill(*store, plain, days);
    // As the service does once a day is over.
    must(store->fold_days(kStart + std::chrono::days(days - 1), 1'000'000));
  }
  std::uint64_t rows = 0;
  const double reading = read_plain(plain, rows);
  sqlite3_close(plain);
  fmt::print("{:<44} {:>7.2f} s   {:>9.0f} rows/s\n", fmt::format("SQLite reads its {} rows", rows),
             reading, static_cast<double>(rows) / reading);
  const auto history = must(Reader::open(folder / "history", {}));
  const auto say = [&](const char* what, const Ledger& ledger) {
    std::size_t alerts = 0;
    const double seconds = seconds_of(ledger.jars().empty() ? 5 : 1, [&] {
      const Rehearsal rehearsal = rehearse(
          settings, *history, ledger, {kStart, kStart + std::chrono::days(days)}, [](Instant) {});
      alerts = rehearsal.alerts.size();
    });
    fmt::print("{:<44} {:>7.2f} s   {:>9.0f} rows/s   {:.2f} times SQLite   {} alerts\n", what,
               seconds, static_cast<double>(rows) / seconds, seconds / reading, alerts);
  };
  say(fmt::format("rehearsed, {} rules, no jar", settings.book.size()).c_str(), Ledger());
  if (jars > 0) {
    say(fmt::format("rehearsed, {} rules, {} jars", settings.book.size(), jars).c_str(),
        a_ledger(jars));
  }
  fs::remove_all(folder);
  return 0;
}

}  // namespace
}  // namespace torpor::daemon

int main(int argc, char** argv) {
  return torpor::daemon::run(argc > 1 ? argv[1] : ".", argc > 2 ? std::atoi(argv[2]) : 365,
                             argc > 3 ? std::atoi(argv[3]) : 200);
}
