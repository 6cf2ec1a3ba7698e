#include "daemon/report/duration_words.h"

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

using std::chrono::hours;

}  // namespace

TEST_CASE("durations are said in the largest unit that fits twice") {
  using std::chrono::minutes, std::chrono::seconds;
  CHECK(in_words(Duration(-5)) == "0 seconds");
  CHECK(in_words(Duration(999)) == "0 seconds");
  CHECK(in_words(seconds(1)) == "1 second");
  CHECK(in_words(seconds(119)) == "119 seconds");
  CHECK(in_words(minutes(2)) == "2 minutes");
  CHECK(in_words(minutes(119)) == "119 minutes");
  CHECK(in_words(hours(2)) == "2 hours");
  CHECK(in_words(hours(47)) == "47 hours");
  CHECK(in_words(hours(48)) == "2 days");
}

}  // namespace torpor::daemon
