// A guided check in salt, as its keeper lives it: told by the command, waited for on readings that
// come through a real broker, answered on the phone.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>

#include "tests/system/room.h"

namespace torpor::testing {
namespace {

constexpr double kDrift = -5.0;       // %
constexpr double kOverSalt = 75.479;  // Greenspan 1977, NaCl at 20 °C

// A reading every two minutes, from one minute to another, since `closed` in the salt.
void lie_in_the_salt(const Room& room, int from, int to, int closed) {
  std::vector<std::string> lines;
  for (int minute = from; minute < to; minute += 2) {
    const double air = kOverSalt + (60.0 - kOverSalt) * std::exp(-(minute - closed) / 60.0);
    lines.push_back(Room::json_line(kFirst + std::chrono::minutes(minute), 20.0, air + kDrift));
  }
  raw_publish_lines(room.broker(), "room/s1", lines);
}

}  // namespace

TEST_CASE("a sensor that has drifted is found out in table salt and corrected from then on") {
  Room room;
  room.start();
  RawSubscriber phone(room.broker(), "torpor/cellar/answer");
  room.say_json(kFirst, 20.0, 55.0);
  REQUIRE(wait_until([&] { return room.readings().size() == 2; }));
  const CommandResult begun = room.torpor({"tell", "calibrate s1 in table salt"});
  CAPTURE(begun.output);
  CHECK(begun.code == 0);
  CHECK(begun.output.find("75.5 % is expected at 20.0 °C") != std::string::npos);
  lie_in_the_salt(room, 2, 5 * 60, 0);
  REQUIRE(wait_until([&] { return room.readings().size() == 2 + 2 * 149; }));
  const CommandResult waiting = room.torpor({"tell", "ask s1"});
  CAPTURE(waiting.output);
  CHECK(waiting.output.find("In table salt for 5.0 h") != std::string::npos);
  CHECK(room.torpor_json({"sensors"})["sensors"][0]["doubts"] ==
        nlohmann::json::array({"in-check"}));
  lie_in_the_salt(room, 5 * 60, 8 * 60, 0);
  REQUIRE(phone.wait_for(1));
  const std::string result = phone.messages()[0].payload;
  CAPTURE(result);
  CHECK(result.find("s1: Done in table salt: it shows 70.") == 0);
  CHECK(result.find("so it reads 5.") != std::string::npos);

  const auto sensor = room.torpor_json({"sensors"})["sensors"][0];
  CHECK(sensor["accuracy"][1]["in"] == "table salt");
  CHECK(sensor["accuracy"][1]["offset_percent"].get<double>() ==
        doctest::Approx(-kDrift).epsilon(0.03));
  CHECK(room.torpor({"sensors"}).output.find("checked in table salt on 2025-07-14") !=
        std::string::npos);
  CHECK(room.torpor({"tell", "withdraw entry 2 because \"it was sugar\""}).code == 0);
  CHECK(room.torpor_json({"sensors"})["sensors"][0]["accuracy"][1]["in"].is_null());
}

}  // namespace torpor::testing
