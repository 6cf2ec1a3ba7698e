#include "sensors/rfc3339.h"

#include <doctest/doctest.h>

#include <array>

namespace torpor {
namespace {

struct Row {
  const char* text;
  std::int64_t unix_ms;
};

TEST_CASE("dates and times with an offset are read to the millisecond") {
  // Seconds checked against `date -u -d`.
  const std::array rows = {
      Row{"1970-01-01T00:00:00Z", 0},
      Row{"2026-03-02T18:30:00Z", 1772476200000},
      Row{"2026-03-02t18:30:00z", 1772476200000},
      Row{"2026-03-02 18:30:00Z", 1772476200000},
      Row{"2026-03-02T19:30:00+01:00", 1772476200000},
      Row{"2026-03-02T13:00:00-05:30", 1772476200000},
      Row{"2026-03-02T18:30:00-00:00", 1772476200000},
      Row{"2026-03-02T18:30:00.1Z", 1772476200100},
      Row{"2026-03-02T18:30:00.123Z", 1772476200123},
      Row{"2026-03-02T18:30:00.1239999999999999999999999999999999999999Z", 1772476200123},
      Row{"2024-02-29T00:00:00Z", 1709164800000},
      Row{"2000-01-01T00:00:00Z", 946684800000},
      Row{"1969-12-31T23:59:59.999Z", -1},
      Row{"0000-01-01T00:00:00Z", -62167219200000},
      Row{"9999-12-31T23:59:59.999Z", 253402300799999},
      // RFC 3339, section 5.8: the examples.
      Row{"1985-04-12T23:20:50.52Z", 482196050520},
      Row{"1996-12-19T16:39:57-08:00", 851042397000},
      Row{"1937-01-01T12:00:27.87+00:20", -1041337172130},
      // Leap seconds, read as the second after.
      Row{"1990-12-31T23:59:60Z", 662688000000},
      Row{"1990-12-31T15:59:60-08:00", 662688000000},
      Row{"1990-12-31T23:59:60.5Z", 662688000500},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    const std::optional<Instant> instant = parse_rfc3339(row.text);
    REQUIRE(instant.has_value());
    CHECK(unix_ms(*instant) == row.unix_ms);
  }
}

TEST_CASE("what is no date and time with an offset is refused") {
  for (const char* text : {"",
                           "2026",
                           "2026-03-02",
                           "2026-03-02T18:30Z",
                           "2026-03-02T18:30:00",
                           "2026-03-02T18:30:00.Z",
                           "2026-03-02T18:30:00,5Z",
                           "2026-3-2T18:30:00Z",
                           "26-03-02T18:30:00Z",
                           "02026-03-02T18:30:00Z",
                           "+2026-03-02T18:30:00Z",
                           "2026-03-02T18:30:00Z ",
                           " 2026-03-02T18:30:00Z",
                           "2026-03-02T18:30:00ZZ",
                           "2026-03-02T18:30:00+1:00",
                           "2026-03-02T18:30:00+0100",
                           "2026-03-02T18:30:00+01",
                           "2026-03-02T18:30:00+24:00",
                           "2026-03-02T18:30:00+01:60",
                           "2026-03-02T24:00:00Z",
                           "2026-03-02T18:60:00Z",
                           "2026-03-02T18:30:61Z",
                           "2026-13-02T18:30:00Z",
                           "2026-00-02T18:30:00Z",
                           "2026-03-00T18:30:00Z",
                           "2026-03-32T18:30:00Z",
                           "2026-02-29T00:00:00Z",
                           "2100-02-29T00:00:00Z",
                           "2026-04-31T00:00:00Z",
                           "2026-03-02T18:30:60Z",
                           "1990-12-31T23:59:60+01:00",
                           "2026-03-02_18:30:00Z",
                           "2026/03/02T18:30:00Z",
                           "2026-03-02T18.30.00Z",
                           "today"}) {
    CAPTURE(text);
    CHECK(parse_rfc3339(text) == std::nullopt);
  }
}

TEST_CASE("a time is written with milliseconds only where there are any, and reads back") {
  CHECK(to_rfc3339(instant_of(1772476200000)) == "2026-03-02T18:30:00Z");
  CHECK(to_rfc3339(instant_of(1772476200001)) == "2026-03-02T18:30:00.001Z");
  CHECK(to_rfc3339(instant_of(1772476200120)) == "2026-03-02T18:30:00.120Z");
  CHECK(to_rfc3339(instant_of(-1)) == "1969-12-31T23:59:59.999Z");
  CHECK(to_rfc3339(instant_of(-62167219200000)) == "0000-01-01T00:00:00Z");
  for (std::int64_t time = -2'000'000'000'000; time < 4'000'000'000'000; time += 7'919'000'031) {
    CHECK(parse_rfc3339(to_rfc3339(instant_of(time))) == instant_of(time));
  }
}

}  // namespace
}  // namespace torpor
