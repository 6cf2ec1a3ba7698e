// The tables that a forwarder keeps in PostgreSQL.
#pragma once

namespace torpor::daemon {

// Counted up with every change of meaning; a higher one in a database is refused.
inline constexpr int kForwardSchemaVersion = 1;

// Safe to run again and again. `raw` is the value as it was sent in `unit`, `value` the same in
// degC or %, neither corrected by calibrations; `marks` as in sensors/reading.h. JSON stays text:
// it comes back as it went in.
inline constexpr const char* kForwardSchema = R"sql(
CREATE TABLE IF NOT EXISTS torpor_schema (version integer NOT NULL);
CREATE TABLE IF NOT EXISTS torpor_reading (
  storeroom text NOT NULL,
  sensor    text NOT NULL,
  quantity  text NOT NULL,
  measured  timestamptz NOT NULL,
  received  timestamptz NOT NULL,
  raw       double precision NOT NULL,
  unit      text NOT NULL,
  value     double precision NOT NULL,
  marks     integer NOT NULL,
  PRIMARY KEY (storeroom, sensor, quantity, measured)
) PARTITION BY RANGE (measured);
CREATE TABLE IF NOT EXISTS torpor_reading_day (
  storeroom text NOT NULL,
  sensor    text NOT NULL,
  quantity  text NOT NULL,
  day       date NOT NULL,
  readings  bigint NOT NULL,
  newest    timestamptz NOT NULL,
  PRIMARY KEY (storeroom, sensor, quantity, day)
);
CREATE TABLE IF NOT EXISTS torpor_journal (
  storeroom text NOT NULL,
  number    bigint NOT NULL,
  happened  timestamptz NOT NULL,
  recorded  timestamptz NOT NULL,
  told_by   text NOT NULL,
  sentence  text NOT NULL,
  act       json NOT NULL,
  PRIMARY KEY (storeroom, number)
);
CREATE TABLE IF NOT EXISTS torpor_alert_change (
  storeroom text NOT NULL,
  alert     bigint NOT NULL,
  change    integer NOT NULL,
  at        timestamptz NOT NULL,
  kind      text NOT NULL,
  body      json NOT NULL,
  PRIMARY KEY (storeroom, alert, change)
);
)sql";

}  // namespace torpor::daemon
