// Runs the command itself on a history in a private folder: exit codes, both forms of output, and
// what it says when it cannot.
#include <doctest/doctest.h>
#include <sys/wait.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <tuple>

#include "daemon/history/sqlite.h"
#include "daemon/history/store.h"
#include "daemon/ledger/sentence.h"
#include "tests/daemon/report/small_cellar.h"

namespace torpor::tests {
namespace {

using nlohmann::json;

struct Ran {
  int code = -1;
  std::string out;  // standard output and, behind it, standard error
};

// `arguments` are for the shell.
Ran run(const std::string& arguments, const std::string& environment = "") {
  const std::string line = environment + " '" TORPOR_COMMAND "' " + arguments + " 2>&1 </dev/null";
  std::FILE* pipe = ::popen(line.c_str(), "r");
  REQUIRE(pipe != nullptr);
  Ran ran;
  std::array<char, 4096> part{};
  for (std::size_t size = 0; (size = std::fread(part.data(), 1, part.size(), pipe)) > 0;) {
    ran.out.append(part.data(), size);
  }
  const int status = ::pclose(pipe);
  ran.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return ran;
}

// The command with a filled cellar's configuration.
struct Filled {
  SmallCellar cellar;
  Filled() { cellar.fill(); }
  [[nodiscard]] Ran torpor(const std::string& arguments) const {
    return run("--config '" + cellar.config().string() + "' " + arguments);
  }
};

json parsed(const Ran& ran) {
  CAPTURE(ran.out);
  REQUIRE(ran.code == 0);
  const json tree = json::parse(ran.out, nullptr, false);
  REQUIRE_FALSE(tree.is_discarded());
  return tree;
}

bool fits_80_columns(const std::string& text) {
  int width = 0;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '\n') {
      width = 0;
    } else if ((byte & 0xC0) != 0x80) {  // not the continuation of a UTF-8 character
      if (++width > 80) return false;
    }
  }
  return true;
}

}  // namespace

TEST_CASE("air needs no configuration") {
  const json tree = parsed(run("--config /nowhere air 25C 60% --json"));
  CHECK(tree.size() == 5);
  CHECK(tree["dew_point_degC"].get<double>() == doctest::Approx(16.70).epsilon(0.001));
  CHECK(run("air 25°C 60%").code == 0);
  CHECK(run("air -5C 80%").code == 0);
  CHECK(run("air 77F 60% --pressure 95000").code == 0);
  const Ran bad = run("air 25 60%");
  CHECK(bad.code == 2);
  CHECK(bad.out ==
        "torpor: '25' is not a temperature with its unit, such as 25C, 77F or 298.15K\n");
}

TEST_CASE("help and version end with 0, no command at all with 2") {
  CHECK(run("--version").code == 0);
  CHECK(run("--version").out.starts_with("torpor "));
  const Ran help = run("--help");
  CHECK(help.code == 0);
  CHECK(help.out.find("torpor import readings logger.csv --sensor s1") != std::string::npos);
  CHECK(run("jar --help").code == 0);
  CHECK(run("").code == 2);
}

TEST_CASE("an unknown command is answered with the nearest one") {
  const Ran ran = run("--config /nowhere sensor");
  CHECK(ran.code == 2);
  CHECK(ran.out ==
        "torpor: there is no command 'sensor'; did you mean sensors? The commands are jars, jar, "
        "choose, label, places, sensors, alerts, tell, listen, import, export, rehearse, backup, "
        "restore, air, sugar.\n");
  CHECK(run("import").code == 2);
  CHECK(run("jar").code == 2);
  CHECK(run("jars --frob").code == 2);
  CHECK(run("jar B-01 --csv --json").code == 2);
  CHECK(run("jar B-01 --csv --html f").code == 2);
  CHECK(run("jar B-01 --json --html f").code == 2);
}

TEST_CASE("a missing configuration and one with faults end with 2") {
  const Ran none = run("--config /nowhere/torpor.yaml jars");
  CHECK(none.code == 2);
  CHECK(none.out ==
        "torpor: there is no configuration at /nowhere/torpor.yaml; say where it is with --config "
        "FILE\n");
  const SmallCellar cellar;
  cellar.folder().write("bad.yaml", "storerom: x\nzone: Mars/Base\n");
  const Ran bad = run("jars --config " + (cellar.folder() / "bad.yaml").string());
  CHECK(bad.code == 2);
  CHECK(bad.out.find("bad.yaml:1:1: ") != std::string::npos);
  CHECK(bad.out.find("bad.yaml:2:7: ") != std::string::npos);
}

TEST_CASE("before there is a history the commands say so") {
  const SmallCellar cellar;
  const Ran ran = run("--config " + cellar.config().string() + " jars");
  CHECK(ran.code == 1);
  CHECK(ran.out ==
        "torpor: there is no history yet at " + cellar.history().string() +
            ": torpord makes it when it first runs, and so does `torpor import readings`\n");
}

TEST_CASE("the lists come as text and as JSON") {
  const Filled filled;
  const json jars = parsed(filled.torpor("jars --json"));
  REQUIRE(jars["jars"].size() == 3);
  CHECK(jars["jars"][0]["jar"] == "B-01");
  // Its rice was never weighed.
  CHECK(jars["jars"][0]["state"] == "unwatched");
  CHECK(jars["jars"][2]["state"] == "settling");
  CHECK(jars["as_of"] == "2026-01-31T00:00:00Z");
  CHECK(parsed(filled.torpor("places --json"))["places"].size() == 4);
  const json sensors = parsed(filled.torpor("sensors --json"));
  REQUIRE(sensors["sensors"].size() == 4);
  CHECK(sensors["sensors"][1]["state"] == "silent");
  const json open = parsed(filled.torpor("alerts --json"));
  REQUIRE(open["alerts"].size() == 1);
  CHECK(open["alerts"][0]["number"] == 2);
  CHECK(parsed(filled.torpor("alerts --all --json"))["alerts"].size() == 2);
  for (const char* command : {"jars", "places", "sensors", "alerts", "alerts --all", "jar B-01"}) {
    CAPTURE(command);
    const Ran ran = filled.torpor(command);
    CHECK(ran.code == 0);
    CHECK(fits_80_columns(ran.out));
    CHECK(ran.out.find('\x1b') == std::string::npos);  // a pipe is no terminal
    // Local time: Vienna is an hour ahead of UTC in winter.
    CHECK(ran.out.find("As of 2026-01-31 01:00 (Europe/Vienna).") != std::string::npos);
    // Data has its own time, and knows no silence.
    CHECK(ran.out.find("No sensor has sent") == std::string::npos);
  }
}

TEST_CASE("by the wall clock a command says how long no sensor has sent anything") {
  const Filled filled;
  filled.cellar.by_wall_clock();
  const Ran ran = filled.torpor("places");
  CHECK(ran.code == 0);
  CHECK(ran.out.find("As of 2026-01-31") == std::string::npos);
  CHECK(ran.out.find("No sensor has sent anything for") != std::string::npos);
}

TEST_CASE("a jar is found however its id is written") {
  const Filled filled;
  for (const char* id : {"B-01", "b-01", "b1"}) {
    CAPTURE(id);
    CHECK(parsed(filled.torpor(std::string("jar --json ") + id))["jar"] == "B-01");
  }
  const Ran unknown = filled.torpor("jar B-03");
  CHECK(unknown.code == 1);
  CHECK(unknown.out.starts_with("torpor: no jar 'B-03' is registered; did you mean B-0"));
}

TEST_CASE("a jar's history is cut by local times and spaced by --every") {
  const Filled filled;
  const json whole = parsed(filled.torpor("jar B-01 --json"));
  CHECK(whole["highest_temperature_degC"] == 30.0);
  CHECK(whole["coverage_percent"] == 100.0);
  CHECK(whole["exposure"].size() == 4);
  CHECK(whole["stays"].size() == 2);
  const json part =
      parsed(filled.torpor("jar B-01 --json --from '2026-01-02 01:00' --to 2026-01-04 --every 6h"));
  CHECK(part["from"] == "2026-01-02T00:00:00Z");
  CHECK(part["to"] == "2026-01-03T23:00:00Z");
  CHECK(part["exposure"].size() == 8);
  CHECK(part["highest_temperature_degC"] == 15.0);
  const Ran csv = filled.torpor("jar B-01 --csv --every 1d");
  CHECK(csv.code == 0);
  CHECK(csv.out.starts_with("from,to,place,sensor,"));
  CHECK(std::count(csv.out.begin(), csv.out.end(), '\n') == 31);
}

TEST_CASE("a jar's page is written whole, over an older one, or not at all") {
  const Filled filled;
  const auto page = filled.cellar.folder() / "b01.html";
  const Ran ran = filled.torpor("jar B-01 --html '" + page.string() + "'");
  CHECK(ran.code == 0);
  CHECK(ran.out.starts_with(page.string() + ": "));
  const std::string first = filled.cellar.folder().read("b01.html");
  CHECK(first.starts_with("<!DOCTYPE html>"));
  CHECK(first.ends_with("</html>"));
  CHECK(filled.torpor("jar B-01 --from 2026-01-20 --html '" + page.string() + "'").code == 0);
  CHECK(filled.cellar.folder().read("b01.html") != first);
  CHECK_FALSE(std::filesystem::exists(page.string() + ".part"));
  const Ran nowhere = filled.torpor("jar B-01 --html /nowhere/b.html");
  CHECK(nowhere.code == 1);
  CHECK(nowhere.out == "torpor: /nowhere/b.html could not be written: No such file or directory\n");
}

TEST_CASE("times and intervals that cannot be are usage failures") {
  const Filled filled;
  CHECK(filled.torpor("jar B-01 --from yesterday").code == 2);
  CHECK(filled.torpor("jar B-01 --from 2026-01-04 --to 2026-01-04").code == 2);
  CHECK(filled.torpor("jar B-01 --every 5").code == 2);
  const Ran many = filled.torpor("jar B-01 --every 1s");
  CHECK(many.code == 2);
  CHECK(many.out.find("2592000 rows") != std::string::npos);
}

TEST_CASE("a jar's page holds no escape sequence that someone told it") {
  const Filled filled;
  {
    const auto store = daemon::Store::open(filled.cellar.history());
    REQUIRE(store.has_value());
    REQUIRE((*store)->begin().has_value());
    daemon::MoveJar move{"B-02", "cellar/shelf-1"};
    REQUIRE((*store)
                ->put_journal({5, SmallCellar::hour(700), SmallCellar::hour(700), "\x1b]0;x\a",
                               "move B-02 to \x1b[2Jcellar/shelf-1", daemon::act_to_json(move)})
                .has_value());
    REQUIRE((*store)->commit().has_value());
  }
  const Ran ran = filled.torpor("jar B-02");
  CHECK(ran.code == 0);
  CHECK(ran.out.find('\x1b') == std::string::npos);
  CHECK(ran.out.find("\\x1b[2Jcellar/shelf-1 (\\x1b]0;x\\x07)") != std::string::npos);
}

TEST_CASE("a sentence that nobody can take ends with 69, one that is too long with 65") {
  const SmallCellar cellar;  // its broker's port is closed
  const std::string config = "--config " + cellar.config().string();
  const Ran nobody = run(config + " tell 'ask jars'");
  CHECK(nobody.code == 69);
  CHECK(nobody.out.starts_with("torpor: "));
  CHECK(run(config + " tell " + std::string(1025, 'x')).code == 65);
  CHECK(run(config + " tell ''").code == 2);
}

TEST_CASE("a logger's file is imported once, and importing it again changes nothing") {
  const SmallCellar cellar;
  const std::string config = "--config " + cellar.config().string();
  const auto file = cellar.folder().write("logger.csv",
                                          "time,temperature_degC,humidity_percent\n"
                                          "2026-01-01T00:00:00Z,15.5,60\n"
                                          "2026-01-01 00:30,15.6,61\n");
  const std::string import = config + " import readings " + file.string() + " --sensor s1 --json";
  const json first = parsed(run(import));
  CHECK(first["rows"] == 2);
  CHECK(first["readings_new"] == 4);
  CHECK(first["readings_known"] == 0);
  const json second = parsed(run(import));
  CHECK(second["readings_new"] == 0);
  CHECK(second["readings_known"] == 4);
  const json sensors = parsed(run(config + " sensors --json"));
  CHECK(sensors["as_of"] == "2026-01-01T00:30:00Z");
  CHECK(sensors["sensors"][0]["readings"][0]["temperature_degC"] == 15.6);
}

TEST_CASE("rows that cannot be read are named and end the import with 65") {
  const SmallCellar cellar;
  const std::string config = "--config " + cellar.config().string();
  const auto file = cellar.folder().write("logger.csv",
                                          "time,temperature_degC\n"
                                          "2026-01-01T00:00:00Z,15.5\n"
                                          "2026-01-01T00:30:00Z,warm\n"
                                          "2026-01-01T01:00:00Z,15.7\n");
  const Ran ran = run(config + " import readings " + file.string() + " --sensor s1");
  CHECK(ran.code == 65);
  CHECK(ran.out.find("readings: 2 new, 0 known already, 0 conflicting") != std::string::npos);
  CHECK(ran.out.find("1 rows refused\n    line 3, column 22: ") != std::string::npos);
}

TEST_CASE("an import needs a configured sensor and a readable file") {
  const SmallCellar cellar;
  const std::string config = "--config " + cellar.config().string();
  const Ran sensor = run(config + " import readings x.csv --sensor s12");
  CHECK(sensor.code == 2);
  CHECK(sensor.out.starts_with("torpor: no sensor 's12' is configured; did you mean s1?"));
  CHECK(run(config + " import readings /nowhere.csv --sensor s1").code == 2);
  CHECK(run(config + " import readings /tmp --sensor s1").code == 2);
  CHECK(run(config + " import readings x.csv").code == 2);
  const auto file = cellar.folder().write("logger.csv", "when,what\n1,2\n");
  const Ran header = run(config + " import readings " + file.string() + " --sensor s1");
  CHECK(header.code == 65);
  CHECK(header.out.find("line 1, column 1: ") != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(cellar.history()));
}

TEST_CASE("output that cannot be written is a failure") {
  CHECK(run("air 25C 60% >/dev/full").code == 1);
}

TEST_CASE("a damaged history is never shown as a short one") {
  const std::pair<const char*, const char*> rows[] = {{"alert", "alerts --all"},
                                                      {"journal", "jars"},
                                                      {"reading", "jar B-01"},
                                                      {"placement", "places --json"}};
  for (const auto& [table, command] : rows) {
    CAPTURE(table);
    const Filled filled;
    std::int64_t page = 0;
    {
      const auto database =
          daemon::Database::open(filled.cellar.history(), daemon::OpenMode::immutable);
      REQUIRE(database);
      page = (*database)
                 ->integer(std::string("SELECT rootpage FROM sqlite_schema WHERE name = '") +
                           table + "'")
                 .value();
    }
    {
      std::fstream file(filled.cellar.history(), std::ios::in | std::ios::out | std::ios::binary);
      file.seekp((page - 1) * 4096);
      file << std::string(4096, 'U');
    }
    const Ran ran = filled.torpor(command);
    CAPTURE(ran.out);
    CHECK(ran.code == 1);
    CHECK(ran.out.find("malformed") != std::string::npos);
    CHECK(std::count(ran.out.begin(), ran.out.end(), '\n') == 1);  // nothing but the message
  }
}

TEST_CASE("what export writes as CSV, import reads into the same readings") {
  const Filled filled;
  const std::string csv = (filled.cellar.folder() / "s1.csv").string();
  REQUIRE(filled.torpor("export --sensor s1 >" + csv).code == 0);
  const SmallCellar empty;
  const Ran imported = run("--config '" + empty.config().string() + "' import readings " + csv +
                           " --sensor s1 --json");
  CAPTURE(imported.out);
  REQUIRE(imported.code == 0);
  const auto series = [](const SmallCellar& cellar, Quantity quantity) {
    auto reader = daemon::Reader::open(cellar.history(), {});
    REQUIRE(reader);
    std::vector<std::tuple<Instant, double, Unit>> readings;
    const auto cursor = (*reader)->readings("s1", quantity, instant_of(0), Instant::max());
    while (const auto reading = cursor->next()) {
      readings.emplace_back(reading->measured_at, reading->raw, reading->unit);
    }
    return readings;
  };
  for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
    CHECK(series(empty, quantity) == series(filled.cellar, quantity));
    CHECK(series(empty, quantity).size() == 30 * 48 + 1);
  }
}

TEST_CASE("export writes ranges, SenML and what it cannot do") {
  const Filled filled;
  const Ran range =
      filled.torpor("export --sensor s1 --from 2026-01-01T00:00Z --to 2026-01-01T01:00Z");
  CHECK(range.code == 0);
  CHECK(range.out ==
        "time,temperature_degC,humidity_percent\n"
        "2026-01-01T00:00:00Z,15,60\n2026-01-01T00:30:00Z,15,60\n");
  const json senml = parsed(
      filled.torpor("export --senml --from 2026-01-01T00:00Z --to 2026-01-01T00:10Z --sensor s1"));
  CHECK(senml == json::parse(R"([{"n":"s1/temperature","u":"Cel","t":1767225600,"v":15},
                                {"n":"s1/humidity","u":"%RH","t":1767225600,"v":60}])"));
  CHECK(filled.torpor("export").code == 2);
  CHECK(filled.torpor("export --sensor nobody").code == 1);
  CHECK(filled.torpor("export --sensor s1 --from 2026-02-01 --to 2026-01-01").code == 2);
  CHECK(filled.torpor("export --sensor s1 >/dev/full").code == 1);
}

TEST_CASE(
    "an export for a chart keeps of each stretch its ends and extremes, and no spike is lost") {
  const SmallCellar cellar;
  cellar.folder().write("spike.csv",
                        "time,temperature_degC,humidity_percent\n"
                        "2026-01-01T00:10:00Z,15,60\n2026-01-01T00:20:00Z,14,61\n"
                        "2026-01-01T00:30:00Z,31,62\n2026-01-01T00:40:00Z,15.5,63\n"
                        "2026-01-01T00:50:00Z,15.2,64\n2026-01-01T02:00:00Z,15,64\n");
  const std::string config = "--config '" + cellar.config().string() + "' ";
  const std::string file = (cellar.folder() / "spike.csv").string();
  REQUIRE(run(config + "import readings '" + file + "' --sensor s1").code == 0);
  const Ran thinned = run(config + "export --sensor s1 --every 1h");
  CHECK(thinned.code == 0);
  CHECK(thinned.out ==
        "time,temperature_degC,humidity_percent\n"
        "2026-01-01T00:10:00Z,15,60\n2026-01-01T00:20:00Z,14,\n"
        "2026-01-01T00:30:00Z,31,\n2026-01-01T00:50:00Z,15.2,64\n"
        "2026-01-01T02:00:00Z,15,64\n");
  const json senml = parsed(run(config + "export --sensor s1 --every 1h --senml"));
  CHECK(senml.size() == 8);
  const Ran wordless = run(config + "export --sensor s1 --every soon");
  CHECK(wordless.code == 2);
  CHECK(wordless.out.find("--every") != std::string::npos);
  cellar.folder().write("later.csv",
                        "time,temperature_degC,humidity_percent\n2026-06-01T00:00:00Z,15,60\n");
  const std::string later = (cellar.folder() / "later.csv").string();
  REQUIRE(run(config + "import readings '" + later + "' --sensor s1").code == 0);
  const Ran fine = run(config + "export --sensor s1 --every 1min");
  CHECK(fine.code == 2);
  CHECK(fine.out.find("stretches") != std::string::npos);
  CHECK(std::count(fine.out.begin(), fine.out.end(), '\n') == 1);  // nothing but the message
}

TEST_CASE("a notebook of jars is recorded whole or not at all, and once") {
  const Filled filled;
  const std::string file = (filled.cellar.folder() / "jars.csv").string();
  filled.cellar.folder().write("jars.csv",
                               "id,place,stage,rice_g,closed,from\n"
                               "N-01,cellar/shelf-1,IMO-2,1200,2026-01-20,B-01\n"
                               "N-02,cellar/shelf-9,IMO-2,1200,2026-01-20,\n"
                               "B-01,cellar/shelf-1,IMO-2,1200,2026-01-20,\n"
                               "N-03,cellar/shelf-2,IMO-3,1200,2026-01-21,N-01\n");
  const Ran refused = filled.torpor("import jars " + file);
  CAPTURE(refused.out);
  CHECK(refused.code == 65);
  CHECK(refused.out.find("nothing is recorded; 2 faults") != std::string::npos);
  CHECK(refused.out.find("jars.csv:3:1: there is no place") != std::string::npos);
  CHECK(refused.out.find("jars.csv:4:1: jar B-01 exists since") != std::string::npos);
  CHECK(parsed(filled.torpor("jars --json"))["jars"].size() == 3);

  filled.cellar.folder().write(
      "jars.csv",
      "id,place,stage,rice_g,raw_g,sugar_g,cover,closed,from\n"
      "N-01,cellar/shelf-1,IMO-2,1200,,,paper,2026-01-20,B-01\n"
      "N-03,cellar/shelf-2,IMO-3,1000,540,300,tight lid,2026-01-21,N-01\n");
  const Ran told = filled.torpor("import jars " + file + " --by Mara");
  CAPTURE(told.out);
  CHECK(told.code == 0);
  CHECK(told.out.find("2 jars recorded, 0 known already") != std::string::npos);
  // A line a jar, with what is wrong.
  CHECK(told.out.find("\n  N-01 is registered in cellar/shelf-1\n") != std::string::npos);
  CHECK(told.out.find("\n  N-03 is registered in cellar/shelf-2: tight lid, 700 g too little "
                      "sugar\n") != std::string::npos);
  const json jar = parsed(filled.torpor("jar N-03 --json"));
  CHECK(jar["parents"][0]["id"] == "N-01");
  CHECK(jar["journal"][0]["by"] == "Mara");
  const Ran again = filled.torpor("import jars " + file);
  CHECK(again.code == 0);
  CHECK(again.out.find("0 jars recorded, 2 known already") != std::string::npos);
  CHECK(parsed(filled.torpor("jars --json"))["jars"].size() == 5);
}

TEST_CASE("choose and label show what the history holds") {
  const Filled filled;
  const Ran chosen = filled.torpor("choose --stage IMO-2 --need 500g");
  CAPTURE(chosen.out);
  CHECK(chosen.code == 0);
  CHECK(chosen.out.find("B-01") != std::string::npos);
  CHECK(parsed(filled.torpor("choose --json"))["ranked"].size() == 3);
  CHECK(filled.torpor("choose --need lots").code == 2);

  const std::string file = (filled.cellar.folder() / "labels.svg").string();
  const Ran written = filled.torpor("label B-01 x9 --svg " + file);
  CAPTURE(written.out);
  CHECK(written.code == 0);
  CHECK(written.out.find("2 labels for one sheet of A4") != std::string::npos);
  CHECK(written.out.find("Warning: the configuration names no `web: address`") !=
        std::string::npos);
  CHECK(filled.cellar.folder().read("labels.svg").find(">X-9<") != std::string::npos);
  CHECK(filled.torpor("label Z-1 --svg " + file).code == 1);
  CHECK(filled.torpor("label B-01").code == 2);
}

TEST_CASE("a backup is a history of its own and overwrites nothing") {
  const Filled filled;
  const std::string copy = (filled.cellar.folder() / "copy.sqlite3").string();
  const Ran done = filled.torpor("backup " + copy);
  CHECK(done.code == 0);
  CHECK(done.out.find("journal entries, readings up to 2026-01-31T00:00:00Z") != std::string::npos);
  const Ran again = filled.torpor("backup " + copy);
  CHECK(again.code == 1);
  CHECK(again.out.find("exists already and is not overwritten") != std::string::npos);
  const auto reader = daemon::Reader::open(copy, {});
  REQUIRE(reader);
  CHECK((*reader)->newest_measured() == SmallCellar::hour(720));
}

}  // namespace torpor::tests
