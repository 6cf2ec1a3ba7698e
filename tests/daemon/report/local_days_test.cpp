#include "daemon/report/local_days.h"

#include <doctest/doctest.h>

#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

const LocalTime kViennaDays = LocalTime::in_zone("Europe/Vienna").value();

// "2026-03-02 00:00=2 Mar 2026 | ..." of the labelled marks.
std::string labels(std::string_view from, std::string_view to) {
  std::string text;
  for (const AxisMark& mark : axis_marks(at(from), at(to), kViennaDays)) {
    if (mark.label.empty()) continue;
    text += (text.empty() ? "" : " | ") + kViennaDays.to_text(mark.at) + "=" + mark.label;
  }
  return text;
}

}  // namespace

TEST_CASE("a date names its month, so that nobody reads it the wrong way round") {
  CHECK(day_words(at("2026-03-02T17:30:00Z"), kViennaDays) == "2 Mar 2026");
  CHECK(moment_words(at("2026-03-02T17:30:00Z"), kViennaDays) == "2 Mar 2026 18:30");
  CHECK(moment_words(at("2025-12-31T23:05:00Z"), kViennaDays) == "1 Jan 2026 00:05");
}

TEST_CASE("an axis is marked at round local times") {
  CHECK(labels("2026-03-02T05:10:00Z", "2026-03-02T09:00:00Z") ==
        "2026-03-02 07:00=2 Mar 2026 07:00 | 2026-03-02 08:00=08:00 | 2026-03-02 09:00=09:00 | "
        "2026-03-02 10:00=10:00");
  CHECK(labels("2025-12-30T12:00:00Z", "2026-01-02T12:00:00Z") ==
        "2025-12-31 00:00=31 Dec 2025 | 2025-12-31 12:00=12:00 | 2026-01-01 00:00=1 Jan 2026 | "
        "2026-01-01 12:00=12:00 | 2026-01-02 00:00=2 Jan | 2026-01-02 12:00=12:00");
  CHECK(labels("2025-10-01T00:00:00Z", "2026-02-20T00:00:00Z") ==
        "2025-11-01 00:00=Nov 2025 | 2025-12-01 00:00=Dec | 2026-01-01 00:00=Jan 2026 | "
        "2026-02-01 00:00=Feb");
  CHECK(labels("2016-05-01T00:00:00Z", "2026-05-01T00:00:00Z") ==
        "2018-01-01 00:00=2018 | 2020-01-01 00:00=2020 | 2022-01-01 00:00=2022 | "
        "2024-01-01 00:00=2024 | 2026-01-01 00:00=2026");
}

TEST_CASE("an axis over a clock change keeps to local midnights") {
  CHECK(labels("2026-03-27T12:00:00Z", "2026-03-31T12:00:00Z") ==
        "2026-03-28 00:00=28 Mar 2026 | 2026-03-29 00:00=29 Mar | 2026-03-30 00:00=30 Mar | "
        "2026-03-31 00:00=31 Mar");
}

TEST_CASE("no axis has more labels than a phone holds, and none runs out of its ends") {
  const Instant from = at("2026-01-01T10:00:00Z");
  for (Duration span = Duration(0); span < std::chrono::hours(24 * 365 * 12);
       span = span * 3 / 2 + std::chrono::minutes(1)) {
    std::size_t words = 0;
    const auto marks = axis_marks(from, from + span, kViennaDays);
    for (const AxisMark& mark : marks) {
      words += mark.label.empty() ? 0 : 1;
      CHECK(mark.at >= from);
      CHECK(mark.at <= from + span);
    }
    CHECK(words <= 7);
    CHECK(marks.size() <= 100);
  }
}

}  // namespace torpor::daemon
