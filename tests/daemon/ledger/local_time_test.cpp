// Zone facts: IANA tz database (tzdata), Europe/Vienna, Africa/Cairo, America/Sao_Paulo,
// Asia/Kathmandu; clock changes of 2026 by the EU rule: last Sundays of March and October, 01:00
// UTC.
#include "daemon/ledger/local_time.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::utc;
using test::zone_of;

namespace {

std::string read(std::string_view zone, std::string_view text) {
  const auto instant = zone_of(zone).parse(text);
  return instant ? to_rfc3339(*instant) : instant.error();
}

}  // namespace

TEST_CASE("local times are read in the storeroom's zone") {
  struct Row {
    const char* zone;
    const char* text;
    const char* utc;
  };
  const Row rows[] = {
      {"Europe/Vienna", "2026-03-02T18:30", "2026-03-02T17:30:00Z"},
      {"Europe/Vienna", "2026-03-02 18:30:15", "2026-03-02T17:30:15Z"},
      {"Europe/Vienna", "2026-03-02", "2026-03-01T23:00:00Z"},
      {"Europe/Vienna", "2026-07-02", "2026-07-01T22:00:00Z"},
      {"Europe/Vienna", "2026-03-02T18:30Z", "2026-03-02T18:30:00Z"},
      {"Europe/Vienna", "2026-03-02T18:30-05:00", "2026-03-02T23:30:00Z"},
      {"Europe/Vienna", "2026-03-02T18:30:15.25+01:00", "2026-03-02T17:30:15.250Z"},
      {"Asia/Kathmandu", "2026-03-02T18:30", "2026-03-02T12:45:00Z"},
      {"UTC", "2026-03-02T18:30", "2026-03-02T18:30:00Z"},
      {"Europe/Vienna", "2028-02-29", "2028-02-28T23:00:00Z"},
      // Both sides of the hour that the clock change skips.
      {"Europe/Vienna", "2026-03-29T01:59:59", "2026-03-29T00:59:59Z"},
      {"Europe/Vienna", "2026-03-29T03:00", "2026-03-29T01:00:00Z"},
      // Both sides of the hour that comes twice.
      {"Europe/Vienna", "2026-10-25T01:59:59", "2026-10-24T23:59:59Z"},
      {"Europe/Vienna", "2026-10-25T03:00", "2026-10-25T02:00:00Z"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    CHECK(read(row.zone, row.text) == row.utc);
  }
}

TEST_CASE("a skipped local time is refused with both readings") {
  const std::string refused =
      "2026-03-29T02:30 does not exist in Europe/Vienna: the clocks went forward over it; write "
      "2026-03-29T02:30+01:00 (which the clocks showed as 03:30) or 2026-03-29T02:30+02:00 (shown "
      "as 01:30)";
  CHECK(read("Europe/Vienna", "2026-03-29T02:30") == refused);
  CHECK(read("Europe/Vienna", "2026-03-29T02:30+01:00") == "2026-03-29T01:30:00Z");
  CHECK(read("Europe/Vienna", "2026-03-29T02:30+02:00") == "2026-03-29T00:30:00Z");
  CHECK(test::contains(read("Europe/Vienna", "2026-03-29T02:00"), "does not exist"));
  CHECK(test::contains(read("Europe/Vienna", "2026-03-29T02:59:59"), "does not exist"));
}

TEST_CASE("a doubled local time is refused with both readings") {
  CHECK(read("Europe/Vienna", "2026-10-25T02:30:10") ==
        "2026-10-25T02:30:10 happened twice in Europe/Vienna: the clocks went back over it; write "
        "2026-10-25T02:30:10+02:00 for the first or 2026-10-25T02:30:10+01:00 for the second");
  CHECK(test::contains(read("Europe/Vienna", "2026-10-25T02:00"), "happened twice"));
  CHECK(test::contains(read("Europe/Vienna", "2026-10-25T02:59:59"), "happened twice"));
}

TEST_CASE("a day whose midnight the clocks skip begins at its first moment") {
  // Egypt 2023: clocks went from 24:00 on 27 April to 01:00 on the 28th.
  CHECK(read("Africa/Cairo", "2023-04-28") == "2023-04-27T22:00:00Z");
  CHECK(test::contains(read("Africa/Cairo", "2023-04-28T00:30"), "does not exist"));
  // Brazil, 17 February 2018, 24:00: back to 23:00 of the 17th; the 18th itself has one midnight.
  CHECK(read("America/Sao_Paulo", "2018-02-18") == "2018-02-18T03:00:00Z");
}

TEST_CASE("what is not a time is refused with the form to write") {
  for (const char* text :
       {"", "yesterday", "2026-3-2", "02.03.2026", "2026-03-02T", "2026-03-02T25:00",
        "2026-03-02T18:60", "2026-03-02T18:30:60", "2026-03-02T18:30:61Z",
        "2026-03-02T18:30:", "2026-03-02T18:30.", "2026-03-02T18:30:15.", "2026-03-02T18:30+1",
        "2026-03-02T18:30 Z x", "2026-03-02x18:30", "2026-03-02T18:30+25:00", "12026-03-02"}) {
    CAPTURE(text);
    CHECK(test::contains(read("Europe/Vienna", text),
                         "is not a time; write 2026-03-02T18:30, or with its offset"));
  }
  CHECK(test::contains(read("Europe/Vienna", "2026-02-29"),
                       "there is no day 2026-02-29 in the calendar"));
  CHECK(test::contains(read("Europe/Vienna", "2026-13-01T00:00Z"), "there is no day 2026-13-01"));
}

TEST_CASE("an unknown zone is an error with a valid example, never a crash") {
  for (const char* name : {"Europe/Wien", "Mars/Olympus", "../../etc/passwd", "Europe", "europe\n",
                           "\xff\xfe", "tzdata.zi", " "}) {
    CAPTURE(name);
    const auto zone = LocalTime::in_zone(name);
    REQUIRE_FALSE(zone);
    CHECK(test::is_one_line(zone.error()));
  }
  CHECK(LocalTime::in_zone("Mars/Olympus").error() ==
        "\"Mars/Olympus\" is not a time zone that this system knows; write a name such as "
        "Europe/Vienna");
  CHECK(test::contains(LocalTime::in_zone("Europe/Viena").error(), "did you mean Europe/Vienna?"));
}

TEST_CASE("an empty name is the system's zone") {
  const auto zone = LocalTime::in_zone("");
  REQUIRE(zone);
  CHECK_FALSE(zone->zone().empty());
}

TEST_CASE("instants are shown in local time on both sides of a clock change") {
  const LocalTime vienna = zone_of("Europe/Vienna");
  CHECK(vienna.to_text(utc("2026-03-02T17:30:59Z")) == "2026-03-02 18:30");
  CHECK(vienna.to_words(utc("2026-03-02T17:30:00Z")) == "Mon 2 Mar 18:30");
  CHECK(vienna.to_words(utc("2026-03-29T00:59:59.999Z")) == "Sun 29 Mar 01:59");
  CHECK(vienna.to_words(utc("2026-03-29T01:00:00Z")) == "Sun 29 Mar 03:00");
  CHECK(vienna.offset(utc("2026-03-29T00:59:59Z")) == std::chrono::minutes(60));
  CHECK(vienna.offset(utc("2026-03-29T01:00:00Z")) == std::chrono::minutes(120));
  CHECK(vienna.to_text(utc("1969-12-31T23:30:00Z")) == "1970-01-01 00:30");
  CHECK(zone_of("UTC").to_words(utc("2026-12-31T23:59:00Z")) == "Thu 31 Dec 23:59");
}

TEST_CASE("what is shown reads back as the same minute all year round") {
  const LocalTime vienna = zone_of("Europe/Vienna");
  int refused = 0;
  for (Instant t = utc("2026-01-01T00:00:00Z"); t < utc("2027-01-01T00:00:00Z");
       t += std::chrono::minutes(30)) {
    const auto back = vienna.parse(vienna.to_text(t));
    if (back) {
      CHECK(*back == t);
    } else {
      ++refused;
    }
  }
  CHECK(refused == 4);  // two half hours of October, each twice
}

}  // namespace torpor::daemon
