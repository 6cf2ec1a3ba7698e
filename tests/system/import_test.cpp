// A logger's file and the same rows through a broker give the same exposure.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "sensors/rfc3339.h"
#include "tests/reference/open_data.h"
#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

// One office room, one reading a minute, February 2015: L. M. Candanedo, V. Feldheim, Energy and
// Buildings 112 (2016) 28-39; UCI Machine Learning Repository, CC BY 4.0.
constexpr const char* kOpenData = "office-room.csv";

const char kJarInTheRoom[] =
    "new jar O-1 in cellar/shelf-1 stage IMO-2 rice 1000 g raw 540 g sugar 1050 g closed "
    "2015-02-02";

std::vector<std::string> json_of(const std::filesystem::path& csv) {
  std::vector<std::string> lines;
  std::ifstream file(csv);
  std::string line;
  std::getline(file, line);  // the header
  while (std::getline(file, line)) {
    std::istringstream cells(line);
    std::string time, celsius, percent;
    std::getline(cells, time, ',');
    std::getline(cells, celsius, ',');
    std::getline(cells, percent, ',');
    time[10] = 'T';
    const auto at = parse_rfc3339(time + "Z");
    REQUIRE(at);
    // The digits as the file has them: the same text must give the same bits.
    lines.push_back(
        fmt::format(R"({{"t":{},"rh":{},"ts":{}}})", celsius, percent, unix_ms(*at) / 1000));
  }
  return lines;
}

CommandResult import(const Room& room, const std::string& file) {
  return room.torpor({"import", "readings", file, "--sensor", "s1", "--columns",
                      "time=time_local,temperature=temperature_degC:°C,"
                      "humidity=relative_humidity_percent:%"});
}

nlohmann::json exposure_of(const Room& room) {
  nlohmann::json jar = room.torpor_json({"jar", "O-1"});
  jar.erase("journal");  // told at another moment
  jar.erase("alerts");
  jar.erase("reasons");  // in the engine's words, up to an hour old
  return jar;
}

}  // namespace

TEST_CASE("importing the office room and publishing its rows give the same exposure") {
  const auto csv = test::open_data(kOpenData);
  if (csv.empty()) {
    MESSAGE("skipped: office-room.csv is not here; name its folder in TORPOR_OPEN_DATA");
    return;
  }
  Room published;
  published.start();
  REQUIRE(published.torpor({"tell", kJarInTheRoom}).code == 0);
  const auto lines = json_of(csv);
  raw_publish_lines(published.broker(), "room/s1", lines);
  REQUIRE(wait_until([&] { return published.readings().size() == 2 * lines.size(); },
                     std::chrono::seconds(60)));

  Room imported;  // into the running service, over its socket
  imported.start();
  REQUIRE(imported.torpor({"tell", kJarInTheRoom}).code == 0);
  const CommandResult first = import(imported, csv.string());
  CAPTURE(first.output);
  REQUIRE(first.code == 0);
  CHECK(first.output.find(fmt::format("{} new", 2 * lines.size())) != std::string::npos);

  const auto exposure = exposure_of(published);
  CHECK(exposure_of(imported) == exposure);
  CHECK(exposure["coverage_percent"].get<double>() > 0);
  MESSAGE(lines.size() << " rows; coverage " << exposure["coverage_percent"] << " %, mean kinetic "
                       << exposure["mean_kinetic_temperature_degC"] << " degC");

  const CommandResult again = import(imported, csv.string());
  CHECK(again.code == 0);
  CHECK(again.output.find("0 new") != std::string::npos);
  imported.stop();
  CHECK(import(imported, csv.string()).code == 0);  // by itself, into the stopped history
  CHECK(exposure_of(imported) == exposure);
}

TEST_CASE("an import into a stopped history is there for the commands and the next start") {
  Room room({.rules = kWarmRule});
  std::string csv = "time,temperature_degC,humidity_percent\n";
  for (int minute = 0; minute <= 14; minute += 2) {
    csv += fmt::format("2025-07-14T00:{:02}:00Z,29,{}\n", minute, minute == 14 ? "sixty" : "60");
  }
  room.write("logger.csv", csv);
  const CommandResult result =
      room.torpor({"import", "readings", room.folder() + "/logger.csv", "--sensor", "s1"});
  CAPTURE(result.output);
  CHECK(result.code == 65);  // a row was refused, the others are in
  CHECK(result.output.find("line 9, column 25") != std::string::npos);
  CHECK(room.readings().size() == 14);  // all but the one row
  RawSubscriber phone(room.broker(), "torpor/cellar/notice");
  room.start();
  CHECK(phone.wait_for(1));  // what stands at the end of the file is notified once
}
