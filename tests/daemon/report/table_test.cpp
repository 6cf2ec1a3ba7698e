#include "daemon/report/table.h"

#include <doctest/doctest.h>

namespace torpor::daemon {

TEST_CASE("a table's columns are as wide as their widest cell") {
  Table table({{"JAR"}, {"°C", true}, {"PLACE"}});
  table.add({"B-07", "18.2", "cellar"});
  table.add({"B-100", "9.0", "-"});
  CHECK(table.text(80, false) ==
        "JAR      °C  PLACE\n"
        "B-07   18.2  cellar\n"
        "B-100   9.0  -\n");
}

TEST_CASE("only elastic columns give way, and no further than their title") {
  Table table({{"JAR"}, {"PLACE", false, 1}});
  table.add({"a-jar-id-of-twenty-00", "cellar/shelf-1"});
  CHECK(table.text(33, false) ==
        "JAR                    PLACE\n"
        "a-jar-id-of-twenty-00  cellar/sh~\n");
  CHECK(table.text(10, false) ==
        "JAR                    PLACE\n"
        "a-jar-id-of-twenty-00  cell~\n");
}

TEST_CASE("columns of the second rank give way when those of the first have given all") {
  Table table({{"JAR", false, 2}, {"PLACE", false, 1}});
  table.add({"a-jar-id-of-twenty-00", "cellar/shelf-1"});
  CHECK(table.text(20, false) ==
        "JAR            PLACE\n"
        "a-jar-id-of-~  cell~\n");
}

TEST_CASE("a table shows escape sequences of cells harmlessly") {
  Table table({{"PLACE"}});
  table.add({"x\x1b[2Jy"});
  CHECK(table.text(80, true) == "PLACE\nx\\x1b[2Jy\n");
}

TEST_CASE("paint surrounds the text and changes no width") {
  Table table({{"STATE"}, {"N"}});
  table.add({Cell("awake", Paint::alarm), "1"});
  CHECK(table.text(80, false) == "STATE  N\nawake  1\n");
  CHECK(table.text(80, true) == "STATE  N\n\x1b[1;31mawake\x1b[0m  1\n");
  CHECK(painted("x", Paint::none, true) == "x");
}

}  // namespace torpor::daemon
