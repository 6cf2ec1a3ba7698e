// Who may add to the history of a running service, as the command and the service see it.
#include <doctest/doctest.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

TEST_CASE("a reader of the group cannot import, and hears who can") {
  if (::geteuid() != 0) {
    MESSAGE("skipped: only root can run the command as somebody else");
    return;
  }
  Room room;
  room.start();
  room.write("logger.csv", "time,temperature_degC\n2025-07-14T00:00:00Z,20\n");
  REQUIRE(::chmod(room.folder().c_str(), 0750) == 0);
  // Nobody's user in the service's group: as `adduser NAME torpor` makes one.
  ChildProcess reader({"setpriv", "--reuid=65534", "--regid=" + std::to_string(::getegid()),
                       "--clear-groups", TORPOR_BINARY, "--config", room.config_file(), "import",
                       "readings", room.folder() + "/logger.csv", "--sensor", "s1"});
  const auto ending = reader.wait();
  REQUIRE(ending);
  CHECK(ending->code != 0);
  std::string output;
  for (const std::string& line : reader.lines()) output += line + "\n";
  CAPTURE(output);
  CHECK(output.find("only root and the user that torpord runs as may add to the history; run it "
                    "with sudo") != std::string::npos);
  CHECK(room.readings().empty());
  const CommandResult allowed =
      room.torpor({"import", "readings", room.folder() + "/logger.csv", "--sensor", "s1"});
  CHECK(allowed.code == 0);
  CHECK(room.readings().size() == 1);
}
