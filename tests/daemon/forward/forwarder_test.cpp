// Against a real PostgreSQL: what the history has is there exactly once, whatever failed on the
// way.
#include "daemon/forward/forwarder.h"

#include <doctest/doctest.h>
#include <fmt/format.h>

#include <csignal>
#include <map>
#include <pqxx/pqxx>
#include <string>
#include <tuple>

#include "tests/daemon/forward/postgres.h"
#include "tests/daemon/report/small_cellar.h"

namespace torpor::daemon {
namespace {

using testing::ChildProcess;
using testing::Postgres;
using tests::SmallCellar;

// Bit for bit: -0.0 is not 0.0 here.
using Row = std::tuple<std::string, std::string, std::int64_t, std::int64_t, std::string, int>;

std::string digits(double raw) { return fmt::format("{:a}", raw); }

std::map<Row, int> rows_here(const SmallCellar& cellar) {
  const auto reader = Reader::open(cellar.history(), {});
  REQUIRE(reader);
  std::map<Row, int> rows;
  for (const std::string& sensor : (*reader)->known_sensors()) {
    for (const QuantityFacts& quantity : quantities()) {
      const auto cursor =
          (*reader)->readings(sensor, quantity.quantity, instant_of(0), Instant::max());
      while (const auto reading = cursor->next()) {
        ++rows[{sensor, std::string(quantity.name), unix_ms(reading->measured_at),
                unix_ms(reading->received_at), digits(reading->raw), reading->marks}];
      }
    }
  }
  return rows;
}

std::map<Row, int> rows_there(const Postgres& postgres, const std::string& storeroom = "cellar") {
  pqxx::connection database(postgres.connection());
  pqxx::work work(database);
  std::map<Row, int> rows;
  for (const pqxx::row& row : work.exec_params(
           "SELECT sensor, quantity, (extract(epoch FROM measured) * 1000)::bigint, (extract(epoch "
           "FROM received) * 1000)::bigint, raw, marks FROM torpor_reading WHERE storeroom = $1",
           storeroom)) {
    ++rows[{row[0].as<std::string>(), row[1].as<std::string>(), row[2].as<std::int64_t>(),
            row[3].as<std::int64_t>(), digits(row[4].as<double>()), row[5].as<int>()}];
  }
  return rows;
}

std::int64_t number_there(const Postgres& postgres, const std::string& sql) {
  pqxx::connection database(postgres.connection());
  pqxx::work work(database);
  return work.exec1(sql)[0].as<std::int64_t>();
}

tl::expected<Forwarded, Error> forward(Forwarder& forwarder, const SmallCellar& cellar) {
  const auto reader = Reader::open(cellar.history(), {});
  REQUIRE(reader);
  return forwarder.forward(**reader);
}

std::unique_ptr<Forwarder> connected(const Postgres& postgres,
                                     const std::string& storeroom = "cellar") {
  auto forwarder = Forwarder::connect(postgres.connection(), storeroom);
  REQUIRE_MESSAGE(forwarder, (forwarder ? "" : forwarder.error().text));
  return std::move(*forwarder);
}

void put(const SmallCellar& cellar, double hour, double celsius, Duration delay = Duration(0)) {
  const auto store = Store::open(cellar.history());
  REQUIRE(store);
  const Instant at = SmallCellar::hour(hour);
  REQUIRE((*store)->put_reading(
      {"s1", Quantity::temperature, celsius, Unit::celsius, at, at + delay, kUnmarked}));
}

void fold(const SmallCellar& cellar) {
  const auto store = Store::open(cellar.history());
  REQUIRE(store);
  REQUIRE((*store)->fold_days(SmallCellar::hour(24 * 30), 1000));
}

}  // namespace

TEST_CASE("readings, journal and alerts are there exactly once, however often and from where") {
  if (!Postgres::is_here()) return;
  Postgres postgres;
  const SmallCellar cellar;
  cellar.fill();
  auto forwarder = connected(postgres);
  const auto all = forward(*forwarder, cellar);
  REQUIRE_MESSAGE(all, (all ? "" : all.error().text));
  const auto here = rows_here(cellar);
  CHECK(all->readings == here.size());
  CHECK(rows_there(postgres) == here);
  CHECK(number_there(postgres, "SELECT count(*) FROM torpor_journal") ==
        static_cast<std::int64_t>(all->entries));
  CHECK(all->entries > 0);
  CHECK(all->alert_changes > 0);

  // Nothing new; and nothing new either in blocks, through another connection.
  CHECK(forward(*forwarder, cellar)->nothing());
  fold(cellar);
  CHECK(forward(*connected(postgres), cellar)->nothing());
  CHECK(rows_there(postgres) == here);

  // A newer reading goes alone; a late one takes its day along and changes nothing else of it.
  put(cellar, 24 * 30 + 1, -0.0);
  CHECK(forward(*forwarder, cellar)->readings == 1);
  put(cellar, 24 * 3 + 0.25, 14.5, Duration(3'600'000));
  CHECK(forward(*forwarder, cellar)->readings == 49);
  CHECK(rows_there(postgres) == rows_here(cellar));

  // Another room beside it.
  CHECK(forward(*connected(postgres, "loft"), cellar)->readings == rows_here(cellar).size());
  CHECK(rows_there(postgres, "loft") == rows_here(cellar));
  CHECK(rows_there(postgres) == rows_here(cellar));
}

TEST_CASE("an outage in the middle is caught up from where it was") {
  if (!Postgres::is_here()) return;
  Postgres postgres;
  const SmallCellar cellar;
  cellar.fill();
  auto forwarder = connected(postgres);
  postgres.kill();
  const auto lost = forward(*forwarder, cellar);
  REQUIRE_FALSE(lost);
  CHECK(lost.error().kind == ErrorKind::not_reached);
  CHECK(lost.error().text.find("PostgreSQL is not reached") == 0);
  const auto unreachable = Forwarder::connect(postgres.connection(), "cellar");
  REQUIRE_FALSE(unreachable);
  CHECK(unreachable.error().kind == ErrorKind::not_reached);
  postgres.start();
  {
    // As if the outage had come when half of a day had been committed.
    REQUIRE(forward(*connected(postgres), cellar));
    pqxx::connection database(postgres.connection());
    pqxx::work work(database);
    work.exec("DELETE FROM torpor_reading WHERE measured > '2026-01-14 12:00Z'");
    work.exec("DELETE FROM torpor_reading_day WHERE day >= '2026-01-14'");
    work.commit();
  }
  REQUIRE(forward(*connected(postgres), cellar));
  CHECK(rows_there(postgres) == rows_here(cellar));
}

TEST_CASE("another history under the same name, and tables of the future, are refused") {
  if (!Postgres::is_here()) return;
  Postgres postgres;
  const SmallCellar cellar;
  cellar.fill();
  REQUIRE(forward(*connected(postgres), cellar));
  {
    pqxx::connection database(postgres.connection());
    pqxx::work work(database);
    work.exec("UPDATE torpor_journal SET sentence = 'new jar Z-1 in attic'");
    work.commit();
  }
  const auto other = forward(*connected(postgres), cellar);
  REQUIRE_FALSE(other);
  CHECK(other.error().kind == ErrorKind::refused);
  CHECK(other.error().text.find("another history") != std::string::npos);
  {
    pqxx::connection database(postgres.connection());
    pqxx::work work(database);
    work.exec("UPDATE torpor_schema SET version = 99");
    work.commit();
  }
  const auto newer = Forwarder::connect(postgres.connection(), "cellar");
  REQUIRE_FALSE(newer);
  CHECK(newer.error().text.find("99") != std::string::npos);
}

TEST_CASE("the program goes on through an outage, and ends when it is told to") {
  if (!Postgres::is_here()) return;
  Postgres postgres;
  const SmallCellar cellar;
  cellar.fill();
  cellar.folder().write("database", postgres.connection() + "\n");
  const std::vector<std::string> command{TORPOR_FORWARD_BINARY,
                                         "--config",
                                         cellar.config().string(),
                                         "--to-file",
                                         (cellar.folder() / "database").string(),
                                         "--every",
                                         "1s"};
  ChildProcess program(command);
  const auto says = [&](const std::string& text) {
    return program.wait_for_lines(
        1, [&](const std::string& line) { return line.find(text) != std::string::npos; });
  };
  CHECK(says("alert changes forwarded"));
  CHECK(rows_there(postgres) == rows_here(cellar));
  postgres.kill();
  CHECK(says("PostgreSQL is not reached"));
  put(cellar, 24 * 30 + 2, 15.5);
  postgres.start();
  CHECK(testing::wait_until([&] { return rows_there(postgres) == rows_here(cellar); }));
  program.signal(SIGTERM);
  const auto ending = program.wait();
  REQUIRE(ending);
  CHECK(ending->code == 0);
  ChildProcess nowhere({TORPOR_FORWARD_BINARY, "--config", cellar.config().string(), "--to",
                        "host=127.0.0.1 port=1", "--once"});
  REQUIRE(nowhere.wait());
  CHECK(nowhere.wait()->code == 69);
}

}  // namespace torpor::daemon
