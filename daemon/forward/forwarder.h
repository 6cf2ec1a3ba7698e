// One history's readings, journal and alerts into a PostgreSQL database, for whoever outgrows one
// board: many storerooms share one database, each row begins with its storeroom's name, and so does
// every key, so that a distributed PostgreSQL can shard by it. Readings are partitioned by month.
//
// What is forwarded is what the database lacks: it is asked, day by day, how many readings it has
// of each series, and which journal entries and alert changes. So nothing is remembered here, an
// outage of either side or a restored backup costs nothing, and what is sent twice is there once:
// the keys are those of the history. Nothing is ever deleted there, also where the history keeps
// less.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

struct Forwarded {
  std::uint64_t readings = 0;  // sent, some of which the database may have had
  std::uint64_t entries = 0;   // of the journal
  std::uint64_t alert_changes = 0;
  [[nodiscard]] bool nothing() const { return readings + entries + alert_changes == 0; }
};

class Forwarder {
 public:
  // `connection`: libpq's, "host=db.lan dbname=torpor" or postgresql://db.lan/torpor. Makes the
  // tables that are absent. Error: kind not_reached (try again), or refused: the database holds
  // tables of a newer version.
  [[nodiscard]] static tl::expected<std::unique_ptr<Forwarder>, Error> connect(
      const std::string& connection, std::string storeroom);
  virtual ~Forwarder() = default;

  // Sends what the database lacks, in transactions of some ten thousand rows: after an error what
  // was committed stays. Error: kind not_reached (connect anew), refused (the database holds
  // another history under this storeroom's name), or what `history` met.
  [[nodiscard]] virtual tl::expected<Forwarded, Error> forward(const Reader& history) = 0;
};

}  // namespace torpor::daemon
