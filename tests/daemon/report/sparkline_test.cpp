#include "daemon/report/sparkline.h"

#include <doctest/doctest.h>

#include <vector>

namespace torpor::daemon {

TEST_CASE("a sparkline spans its range in eight heights and leaves the unknown blank") {
  const std::vector<std::optional<double>> values = {10.0, 20.0, std::nullopt, 15.0, 9.0, 21.0};
  CHECK(sparkline(values, 10.0, 20.0, true) == "▁█ ▅▁█");
  CHECK(sparkline(values, 10.0, 20.0, false) == "18 518");
  CHECK(sparkline({}, 0.0, 1.0, true) == "");
}

TEST_CASE("a value half way to the next height is drawn there") {
  const std::vector<std::optional<double>> values = {0.49, 0.51, 6.49, 6.51};
  CHECK(sparkline(values, 0.0, 7.0, false) == "1278");
}

}  // namespace torpor::daemon
