#include "daemon/ledger/jar_csv.h"

#include <doctest/doctest.h>

#include <sstream>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

namespace {

JarCsv notebook(const std::string& text) {
  std::istringstream stream(text);
  return read_jar_csv(stream, test::zone_of("Europe/Vienna"));
}

// "2:1 new jar ...", then "!3:5 what is wrong", each a line.
std::string lines_of(const JarCsv& csv) {
  std::string text;
  for (const JarCsvRow& row : csv.rows) {
    text += std::to_string(row.at.line) + ':' + std::to_string(row.at.column) + ' ' + row.sentence +
            '\n';
  }
  for (const CsvFault& fault : csv.faults) {
    text += '!' + std::to_string(fault.at.line) + ':' + std::to_string(fault.at.column) + ' ' +
            fault.text + '\n';
  }
  return text;
}

}  // namespace

TEST_CASE("each row of a notebook is the sentence a keeper would tell") {
  CHECK(
      lines_of(notebook(
          "id,place,stage,rice_g,raw_kg,sugar_g,vessel,volume_l,mouth_cm,cover,closed,origin,from\n"
          "B-07,cellar/shelf-2,IMO-2,1200,0.56,1250,glass,3.8,11,double kraft,2026-03-02,\"beech "
          "hollow, north slope\",C-01 and B-03\n"
          "b8,North Loft,,,,,,2,,,,,\n")) ==
      "2:1 new jar B-07 in \"cellar/shelf-2\" closed 2026-03-02 cover double kraft from C-01 and "
      "B-03 mouth 11 cm origin \"beech hollow, north slope\" raw 0.56 kg rice 1200 g stage "
      "\"IMO-2\" sugar 1250 g vessel glass 3.8 l\n"
      "3:1 new jar b8 in \"North Loft\" vessel 2 l\n");
}

TEST_CASE("the volume may stand before its vessel") {
  CHECK(lines_of(notebook("volume_ml,id,in,vessel\n750,a,cellar,glass\n")) ==
        "2:5 new jar a in \"cellar\" vessel glass 750 ml\n");
}

TEST_CASE("every fault of a notebook is said, each where it stands") {
  CHECK(lines_of(notebook("id,place,rice_g,cover,closed\n"
                          "B-01,cellar,12oo,paper,2026-03-02\n"
                          "B-02,,1200,papre,2026-13-02\n"
                          ",cellar,1200,paper,\n"
                          "B 3,cellar,1200,,\n"
                          "B-04,\"cel\"\"lar\",,,,,\n"
                          "B-05,cellar,1200,paper,2026-03-02\n"))
            .find("7:1 new jar B-05 in \"cellar\" closed 2026-03-02 cover paper rice 1200 g\n!2:13 "
                  "rice: `rice`: ") == 0);
  const JarCsv csv = notebook(
      "id,place,rice_g,cover,closed\n"
      "B-02,,1200,papre,2026-13-02\n"
      ",cellar,1200,paper,\n"
      "B 3,cellar,1200,,\n");
  CHECK(csv.rows.empty());
  REQUIRE(csv.faults.size() == 5);
  CHECK(csv.faults[0].at == CsvPlace{2, 12});
  CHECK(csv.faults[0].text.starts_with("cover: `cover`: cover \"papre\" is not one of tissue"));
  CHECK(csv.faults[1].at == CsvPlace{2, 18});
  CHECK(csv.faults[2].text == "where B-02 stands is missing");
  CHECK(csv.faults[3].text == "the jar's id is missing");
  CHECK(csv.faults[4].text.starts_with("\"B 3\" cannot be a jar's id"));
}

TEST_CASE("a header that is not understood is said column by column, and no row is read") {
  const std::pair<const char*, const char*> rows[] = {
      {"", "!1:1 the file is empty; it begins with a header: id,place,stage,rice_g\n"},
      {"id,place,rice\nB-1,cellar,1200\n",
       "!1:10 column \"rice\" needs its unit behind: rice_ and one of g kg oz lb\n"},
      {"id,place,rice_st\n",
       "!1:10 column \"rice_st\" needs its unit behind: rice_ and one of g kg oz lb\n"},
      {"id,stage\n", "!1:1 column place is missing; every jar needs it\n"},
      {"place\n", "!1:1 column id is missing; every jar needs it\n"},
      {"id,place,in\n", "!1:10 column in says what one before says\n"},
  };
  for (const auto& [text, expected] : rows) {
    CAPTURE(text);
    CHECK(lines_of(notebook(text)) == expected);
  }
  CHECK(test::contains(lines_of(notebook("id,place,covr\n")),
                       "!1:10 column \"covr\" is not known; is it cover?; known are id, place"));
}

TEST_CASE("markup and control characters in a notebook are text or refused") {
  const JarCsv csv = notebook("id,place,stage\nB-1,cellar,<script>\nB-2,cellar,a\x1B[31m\n");
  REQUIRE(csv.rows.size() == 1);
  CHECK(csv.rows[0].sentence == "new jar B-1 in \"cellar\" stage \"<script>\"");
  REQUIRE(csv.faults.size() == 1);
  CHECK(csv.faults[0].at.line == 3);
  CHECK(test::contains(csv.faults[0].text, "control character"));
}

}  // namespace torpor::daemon
