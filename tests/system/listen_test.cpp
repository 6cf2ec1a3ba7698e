// `torpor listen` through a real broker: what arrives is shown, and nothing is left behind.
#include <doctest/doctest.h>

#include "config/settings.h"
#include "tests/system/room.h"

namespace torpor::testing {

TEST_CASE("what arrives on a topic is shown with the entry that would read it") {
  Room room;
  room.start();
  raw_publish(room.broker(), {"shed/s9", R"({"t":19.5,"rh":61})", 1, true});
  raw_publish(room.broker(), {"shed/s8", "\x01\x02hello", 1, true});
  const CommandResult heard = room.torpor({"listen", "shed/#", "--count", "2"});
  CAPTURE(heard.output);
  CHECK(heard.code == 0);
  CHECK(heard.output.find("Listening to shed/# at ") == 0);
  CHECK(heard.output.find(R"(shed/s9 (retained)  {"t":19.5,"rh":61})") != std::string::npos);
  CHECK(heard.output.find(R"(\x01\x02hello)") != std::string::npos);
  CHECK(heard.output.find("Not read: ") != std::string::npos);
  const std::size_t begin = heard.output.find("  - {id: s9");
  REQUIRE(begin != std::string::npos);
  const std::string entry = heard.output.substr(begin, heard.output.find("}\n", begin) + 2 - begin);
  const auto read = config::read_settings("storeroom: x\nplaces: {cellar: {}}\nsensors:\n" + entry,
                                          "torpor.yaml");
  CHECK(read.faults.empty());
  // The service's sessions are its own: it goes on reading, and has kept nothing of this.
  room.say_json(kFirst, 20, 60);
  REQUIRE(wait_until([&] { return room.readings().size() == 2; }));
}

TEST_CASE("a topic nobody speaks on, and a broker that is not there, say so") {
  Room room;
  const CommandResult silent = room.torpor({"listen", "shed/s9", "--for", "1s"});
  CHECK(silent.code == 1);
  CHECK(silent.output.find("nothing arrived on shed/s9") != std::string::npos);
  CHECK(room.torpor({"listen", "shed/#/x"}).code == 2);
  CHECK(room.torpor({"listen", "shed", "--for", "soon"}).code == 2);
  Room dark({.broker_runs = false});
  CHECK(dark.torpor({"listen", "shed/s9"}).code == 69);
}

}  // namespace torpor::testing
