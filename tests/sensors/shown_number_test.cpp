#include "sensors/shown_number.h"

#include <doctest/doctest.h>

#include <limits>

using torpor::shown_number;

TEST_CASE("a number is written out up to a thousand million, and in short from there on") {
  CHECK(shown_number(21.456, 1) == "21.5");
  CHECK(shown_number(-0.04, 2) == "-0.04");
  CHECK(shown_number(999'999'999.0, 0) == "999999999");
  CHECK(shown_number(1e9, 0) == "1e+09");
  CHECK(shown_number(-1.234e50, 1) == "-1.23e+50");
  CHECK(shown_number(1e308, 1) == "1e+308");
  CHECK(shown_number(std::numeric_limits<double>::infinity(), 1) == "inf");
  CHECK(shown_number(std::numeric_limits<double>::quiet_NaN(), 1) == "nan");
}
