#include "daemon/forward/forwarder.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <map>
#include <pqxx/pqxx>
#include <set>
#include <utility>
#include <vector>

#include "daemon/forward/forward_schema.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

using std::chrono::days;
using std::chrono::sys_days;

// Rows in one transaction: a few are not worth a commit each, and many more not one outage.
constexpr std::uint64_t kRowsOfATransaction = 20'000;
// Rows in one statement.
constexpr std::size_t kRowsOfAStatement = 5'000;
// Days that are compared at a time: bounded memory, whatever the years.
constexpr std::int64_t kDaysAtATime = 366;
// "torpor" as a number: only forwarders wait for each other.
constexpr std::int64_t kLock = 0x746f72706f72;

sys_days day_of_instant(Instant at) { return std::chrono::floor<days>(at); }

std::string date_text(sys_days day) { return to_rfc3339(Instant(day)).substr(0, 10); }

// What PostgreSQL's text cannot hold; no sentence of ours has it.
std::string without_nul(std::string text) {
  std::erase(text, '\0');
  return text;
}

// The elements of an array literal; none of them needs quotes.
class ArrayText {
 public:
  void add(std::string_view element) {
    text_ += text_.empty() ? '{' : ',';
    text_ += element;
  }
  [[nodiscard]] std::string take() { return std::exchange(text_, {}) + '}'; }

 private:
  std::string text_;
};

// What the database has of one day of one series.
struct KnownDay {
  std::uint64_t readings = 0;
  Instant newest;
};

class PostgresForwarder final : public Forwarder {
 public:
  PostgresForwarder(const std::string& connection, std::string storeroom)
      : storeroom_(std::move(storeroom)), database_(connection) {
    pqxx::work work(database_);
    lock(work);
    work.exec(kForwardSchema);
    const pqxx::result version = work.exec("SELECT max(version) FROM torpor_schema");
    if (version[0][0].is_null()) {
      work.exec_params("INSERT INTO torpor_schema VALUES ($1)", kForwardSchemaVersion);
    } else {
      version_ = version[0][0].as<int>();
    }
    work.commit();
  }

  [[nodiscard]] int version() const { return version_; }

  tl::expected<Forwarded, Error> forward(const Reader& history) override {
    try {
      Forwarded sent;
      if (auto entries = send_journal(history, sent); !entries) {
        return tl::unexpected(entries.error());
      }
      send_alerts(history, sent);
      for (const std::string& sensor : history.known_sensors()) {
        for (const QuantityFacts& quantity : quantities()) {
          send_series(history, sensor, quantity.quantity, sent);
        }
      }
      commit();
      // What was read of a damaged history is not all there is.
      if (const auto fault = history.fault()) return tl::unexpected(*fault);
      return sent;
    } catch (const pqxx::broken_connection& lost) {
      work_.reset();
      return tl::unexpected(not_reached(lost.what()));
    } catch (const pqxx::failure& refused) {
      work_.reset();
      return tl::unexpected(
          Error{ErrorKind::io, fmt::format("PostgreSQL refuses: {}", one_line(refused.what()))});
    }
  }

  // libpq's messages have several lines.
  static std::string one_line(std::string text) {
    while (!text.empty() && text.back() == '\n') text.pop_back();
    std::ranges::replace(text, '\n', ' ');
    std::ranges::replace(text, '\t', ' ');
    return text;
  }
  static Error not_reached(const std::string& what) {
    return {ErrorKind::not_reached, fmt::format("PostgreSQL is not reached: {}", one_line(what))};
  }

 private:
  static void lock(pqxx::work& work) {
    work.exec_params("SELECT pg_advisory_xact_lock($1)", kLock);
  }

  pqxx::work& work() {
    if (!work_) work_ = std::make_unique<pqxx::work>(database_);
    return *work_;
  }
  void commit() {
    if (work_) work_->commit();
    work_.reset();
    rows_ = 0;
  }
  void count(std::uint64_t rows) {
    rows_ += rows;
    if (rows_ >= kRowsOfATransaction) commit();
  }

  tl::expected<void, Error> send_journal(const Reader& history, Forwarded& sent) {
    const pqxx::result newest = work().exec_params(
        "SELECT coalesce(max(number), 0) FROM torpor_journal WHERE storeroom = $1", storeroom_);
    const auto known = newest[0][0].as<std::uint64_t>();
    const std::vector<JournalEntry> journal = history.journal();
    if (auto same = check_same_history(journal, known); !same) return same;
    for (const JournalEntry& entry : journal) {
      if (entry.number <= known) continue;
      work().exec_params(
          "INSERT INTO torpor_journal VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT DO NOTHING",
          storeroom_, entry.number, to_rfc3339(entry.happened_at), to_rfc3339(entry.recorded_at),
          without_nul(entry.by), without_nul(entry.sentence), entry.act);
      ++sent.entries;
      count(1);
    }
    return {};
  }

  // By the newest entry that both have.
  tl::expected<void, Error> check_same_history(const std::vector<JournalEntry>& journal,
                                               std::uint64_t known) {
    const auto both = std::ranges::find_if(journal.rbegin(), journal.rend(),
                                           [&](const auto& each) { return each.number <= known; });
    if (both == journal.rend()) return {};
    const pqxx::result there = work().exec_params(
        "SELECT sentence FROM torpor_journal WHERE storeroom = $1 AND number = $2", storeroom_,
        both->number);
    if (!there.empty() && there[0][0].as<std::string>() == without_nul(both->sentence)) return {};
    return tl::unexpected(Error{
        ErrorKind::refused,
        fmt::format("the database holds another history under the name {}: its journal entry {} "
                    "is another one. Give this storeroom a name of its own, or delete the other's "
                    "rows",
                    storeroom_, both->number)});
  }

  // Of an alert that has ended there and here nothing more will come.
  void send_alerts(const Reader& history, Forwarded& sent) {
    std::map<std::uint64_t, std::size_t> known;
    std::set<std::uint64_t> ended;
    for (const pqxx::row& row : work().exec_params(
             "SELECT alert, count(*), bool_or(kind = 'ended') FROM torpor_alert_change WHERE "
             "storeroom = $1 GROUP BY alert",
             storeroom_)) {
      known[row[0].as<std::uint64_t>()] = row[1].as<std::size_t>();
      if (row[2].as<bool>()) ended.insert(row[0].as<std::uint64_t>());
    }
    for (const StoredAlert& alert : history.alerts(false)) {
      if (!alert.open && ended.contains(alert.number)) continue;
      const std::vector<StoredAlertChange> changes = history.alert_changes(alert.number);
      for (std::size_t i = known[alert.number]; i < changes.size(); ++i) {
        work().exec_params(
            "INSERT INTO torpor_alert_change VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO "
            "NOTHING",
            storeroom_, alert.number, i + 1, to_rfc3339(changes[i].at), changes[i].kind,
            changes[i].body);
        ++sent.alert_changes;
        count(1);
      }
    }
  }

  std::map<sys_days, KnownDay> known_days(const std::string& sensor, std::string_view quantity,
                                          sys_days from, sys_days to) {
    std::map<sys_days, KnownDay> known;
    for (const pqxx::row& row : work().exec_params(
             "SELECT day - date '1970-01-01', readings, (extract(epoch FROM newest) * "
             "1000)::bigint FROM torpor_reading_day WHERE storeroom = $1 AND sensor = $2 AND "
             "quantity = $3 AND day >= $4 AND day < $5",
             storeroom_, sensor, std::string(quantity), date_text(from), date_text(to))) {
      known[sys_days(days(row[0].as<int>()))] = {row[1].as<std::uint64_t>(),
                                                 instant_of(row[2].as<std::int64_t>())};
    }
    return known;
  }

  void send_series(const Reader& history, const std::string& sensor, Quantity quantity,
                   Forwarded& sent) {
    const ReadingSummary all = history.summary(sensor, quantity, instant_of(0), Instant::max());
    if (!all.first_measured) return;
    const sys_days end = day_of_instant(*all.last_measured) + days(1);
    for (sys_days from = day_of_instant(*all.first_measured); from < end;
         from += days(kDaysAtATime)) {
      const sys_days to = std::min(from + days(kDaysAtATime), end);
      const auto known = known_days(sensor, facts(quantity).name, from, to);
      const auto summaries =
          history.summaries(sensor, quantity, Instant(from), Instant(to), days(1));
      for (std::size_t i = 0; i < summaries.size(); ++i) {
        const sys_days day = from + days(static_cast<int>(i));
        const auto there = known.find(day);
        const KnownDay before = there == known.end() ? KnownDay{} : there->second;
        // Readings are never changed: a day with as many is the same day.
        if (summaries[i].readings <= before.readings) continue;
        send_day(history, sensor, quantity, day, summaries[i], before, sent);
      }
    }
  }

  void send_day(const Reader& history, const std::string& sensor, Quantity quantity, sys_days day,
                const ReadingSummary& here, const KnownDay& there, Forwarded& sent) {
    const Instant end = Instant(day + days(1));
    // Mostly only the newest are missing; where a late one came, the day goes as a whole.
    const Instant newer = there.newest + Duration(1);
    const bool only_newer =
        there.readings > 0 &&
        there.readings + history.summary(sensor, quantity, newer, end).readings == here.readings;
    ensure_month(day);
    const auto cursor = history.readings(sensor, quantity, only_newer ? newer : Instant(day), end);
    std::vector<Reading> rows;
    const auto send = [&] {
      insert(rows);
      sent.readings += rows.size();
      rows_ += rows.size();
      rows.clear();
    };
    while (auto reading = cursor->next()) {
      rows.push_back(std::move(*reading));
      if (rows.size() == kRowsOfAStatement) send();
    }
    if (!rows.empty()) send();
    work().exec_params(
        "INSERT INTO torpor_reading_day VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (storeroom, "
        "sensor, quantity, day) DO UPDATE SET readings = excluded.readings, newest = "
        "excluded.newest",
        storeroom_, sensor, std::string(facts(quantity).name), date_text(day), here.readings,
        to_rfc3339(*here.last_measured));
    count(1);
  }

  void insert(const std::vector<Reading>& rows) {
    ArrayText measured, received, raw, unit, value, marks;
    for (const Reading& reading : rows) {
      measured.add(to_rfc3339(reading.measured_at));
      received.add(to_rfc3339(reading.received_at));
      // The shortest digits that give the same double again.
      raw.add(fmt::format("{}", reading.raw));
      unit.add(symbol(reading.unit));
      value.add(fmt::format("{}", reading.value()));
      marks.add(fmt::format("{}", reading.marks));
    }
    work().exec_params(
        "INSERT INTO torpor_reading SELECT $1, $2, $3, * FROM unnest($4::timestamptz[], "
        "$5::timestamptz[], $6::float8[], $7::text[], $8::float8[], $9::integer[]) ON CONFLICT DO "
        "NOTHING",
        storeroom_, rows.front().sensor, std::string(facts(rows.front().quantity).name),
        measured.take(), received.take(), raw.take(), unit.take(), value.take(), marks.take());
  }

  // Its partition; two forwarders never make one at the same time.
  void ensure_month(sys_days day) {
    const std::chrono::year_month_day date(day);
    const std::chrono::year_month month(date.year(), date.month());
    if (!months_.insert(month).second) return;
    commit();
    lock(work());
    work().exec(fmt::format(
        "CREATE TABLE IF NOT EXISTS torpor_reading_{} PARTITION OF torpor_reading FOR VALUES FROM "
        "('{} 00:00Z') TO ('{} 00:00Z')",
        month_name(day), date_text(sys_days(month / 1)),
        date_text(sys_days((month + std::chrono::months(1)) / 1))));
    commit();
  }
  static std::string month_name(sys_days day) {
    std::string name = date_text(day).substr(0, 7);
    std::ranges::replace(name, '-', '_');
    return name;
  }

  const std::string storeroom_;
  pqxx::connection database_;
  std::unique_ptr<pqxx::work> work_;
  std::uint64_t rows_ = 0;  // in the transaction
  std::set<std::chrono::year_month> months_;
  int version_ = kForwardSchemaVersion;
};

}  // namespace

tl::expected<std::unique_ptr<Forwarder>, Error> Forwarder::connect(const std::string& connection,
                                                                   std::string storeroom) {
  try {
    auto made = std::make_unique<PostgresForwarder>(connection, std::move(storeroom));
    if (made->version() > kForwardSchemaVersion) {
      return tl::unexpected(
          Error{ErrorKind::refused,
                fmt::format("the tables there are of version {}, this program writes {}: bring "
                            "torpor-forward up to date",
                            made->version(), kForwardSchemaVersion)});
    }
    return made;
  } catch (const pqxx::broken_connection& lost) {
    return tl::unexpected(PostgresForwarder::not_reached(lost.what()));
  } catch (const pqxx::failure& refused) {
    return tl::unexpected(
        Error{ErrorKind::io,
              fmt::format("PostgreSQL refuses: {}", PostgresForwarder::one_line(refused.what()))});
  }
}

}  // namespace torpor::daemon
