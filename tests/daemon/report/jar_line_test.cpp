#include "daemon/report/jar_line.h"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "daemon/report/html_jar.h"
#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "tests/daemon/ledger/told_world.h"
#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

using nlohmann::json;
using test::Cellar;

// C-01 -> B-03, B-07; B-03 and B-07 -> B-09 -> split B-10.
Cellar told_line() {
  Cellar cellar;
  (void)cellar.tell(
      "new collection C-01 where \"beech <b>hollow</b>\" lay 5 d gathered 2026-02-20");
  (void)cellar.tell("new jar B-03 in cellar stage IMO-1 closed 2026-02-25 from C-01");
  (void)cellar.tell("new jar B-07 in cellar stage IMO-2 closed 2026-02-26 from C-01");
  (void)cellar.tell(
      "new jar B-09 in cellar stage IMO-3 rice 1200 g raw 560 g sugar 1250 g closed 2026-03-02 "
      "from "
      "B-03 and B-07");
  (void)cellar.tell("split 600 g from B-09 into B-10 in cellar");
  (void)cellar.tell("take 200 g from B-09 for \"heap 4\"");
  (void)cellar.tell("take 50 g from B-09 for \"heap 5\"");
  (void)cellar.tell("withdraw entry 7 because \"it was B-03\" by \"Mara\"");
  return cellar;
}

JarHistoryView view_of(const Cellar& cellar, const std::string& id) {
  JarHistoryView view = sample_history();
  const Jar& jar = *cellar.ledger.find(id);
  view.jar.jar = id;
  view.made = jar.made;
  view.line = line_of(cellar.ledger, jar);
  view.journal.clear();
  for (const JournalEntry& entry : cellar.journal) {
    if (cellar.ledger.entries_about(id).count(entry.number) == 0) continue;
    view.journal.push_back(entry);
    if (const auto by = cellar.ledger.withdrawn_by(entry.number)) {
      view.withdrawn[entry.number] = *by;
    }
  }
  return view;
}

std::string rows_of(const JarHistoryView& view, const LocalTime& zone) {
  std::string text;
  for (const LineRow& row : line_rows(view, zone)) text += row.name + ": " + row.value + '\n';
  return text;
}

TextContext line_context(const LocalTime& zone) {
  return {zone, at("2026-03-10T12:00:00Z"), std::nullopt, {}};
}

}  // namespace

TEST_CASE("a jar's line is shown back to where it was gathered, and forward") {
  const Cellar cellar = told_line();
  CHECK(rows_of(view_of(cellar, "B-09"), cellar.zone) ==
        "from: B-03 (IMO-1, closed 2026-02-25)\n"
        "from: B-07 (IMO-2, closed 2026-02-26)\n"
        "from: B-03: C-01\n"
        "from: B-07: C-01\n"
        "C-01: gathered 2026-02-20 at \"beech ‹b›hollow‹/b›\"; lay out 5 d\n"
        "into: 600 g split off into B-10 (IMO-3, closed 2026-03-10)\n"
        "taken: 2026-03-10: 200 g for \"heap 4\"\n");
  CHECK(rows_of(view_of(cellar, "B-10"), cellar.zone) ==
        "from: 600 g split off from B-09 (IMO-3, closed 2026-03-02)\n"
        "from: B-09: B-03 (IMO-1, closed 2026-02-25)\n"
        "from: B-09: B-07 (IMO-2, closed 2026-02-26)\n"
        "from: B-03: C-01\n"
        "from: B-07: C-01\n"
        "C-01: gathered 2026-02-20 at \"beech ‹b›hollow‹/b›\"; lay out 5 d\n");
  CHECK(rows_of(view_of(cellar, "B-03"), cellar.zone) ==
        "from: C-01\n"
        "C-01: gathered 2026-02-20 at \"beech ‹b›hollow‹/b›\"; lay out 5 d\n"
        "into: B-09 (IMO-3, closed 2026-03-02)\n"
        "into: 600 g split off into B-10 (IMO-3, closed 2026-03-10) from B-09\n");
}

TEST_CASE("a withdrawn entry is shown in every form, and marked so") {
  const Cellar cellar = told_line();
  const JarHistoryView view = view_of(cellar, "B-09");
  const std::string text = jar_history_text(view, line_context(cellar.zone));
  CHECK(test::contains(text, "[withdrawn by entry 8] take 50 g from B-09"));
  CHECK(test::contains(text, "withdraw entry 7 because"));
  CHECK(test::contains(text, "Its line"));
  const std::string page = jar_report(view, {cellar.zone, at("2026-03-10T12:00:00Z"), "cellar"});
  CHECK(test::contains(page, "[withdrawn by entry 8] take 50 g from B-09"));
  CHECK(test::contains(page, "class=\"long withdrawn\""));
  CHECK(test::contains(page, "Its line"));
  CHECK_FALSE(test::contains(page, "<b>hollow"));
  const json tree = json::parse(jar_history_json(view));
  CHECK(tree["journal"].back()["withdrawn_by"].is_null());
  CHECK(tree["journal"][tree["journal"].size() - 2]["withdrawn_by"] == 8);
}

TEST_CASE("the line as JSON names parents, children, collection and what was taken") {
  const Cellar cellar = told_line();
  const json tree = json::parse(jar_history_json(view_of(cellar, "B-09")));
  REQUIRE(tree["parents"].size() == 2);
  CHECK(tree["parents"][0]["id"] == "B-03");
  CHECK(tree["parents"][0]["kind"] == "jar");
  CHECK(tree["parents"][0]["stage"] == "IMO-1");
  CHECK(tree["parents"][0]["split_g"].is_null());
  REQUIRE(tree["children"].size() == 1);
  CHECK(tree["children"][0]["id"] == "B-10");
  CHECK(tree["children"][0]["split_g"] == 600.0);
  CHECK(tree["collection"]["collection"] == "C-01");
  CHECK(tree["collection"]["lay_h"] == 120.0);
  CHECK(tree["line"]["back"].size() == 4);
  REQUIRE(tree["taken"].size() == 2);
  CHECK(tree["taken"][0]["into"] == "B-10");
  CHECK(tree["taken"][1]["purpose"] == "heap 4");
  CHECK(json::parse(jar_history_json(view_of(cellar, "B-03")))["parents"][0]["kind"] ==
        "collection");
}

TEST_CASE("a jar without a line has none of its lines") {
  Cellar cellar;
  (void)cellar.tell("new jar B-01 in cellar");
  const JarHistoryView view = view_of(cellar, "B-01");
  CHECK_FALSE(test::contains(jar_history_text(view, line_context(cellar.zone)), "Its line"));
  const json tree = json::parse(jar_history_json(view));
  CHECK(tree["parents"].empty());
  CHECK(tree["collection"].is_null());
}

TEST_CASE("a line of hundreds of jars ends") {
  Cellar cellar;
  (void)cellar.tell("new jar J-0 in cellar");
  for (int i = 1; i <= 300; ++i) {
    (void)cellar.tell("new jar J-" + std::to_string(i) + " in cellar from J-" +
                      std::to_string(i - 1));
  }
  CHECK(line_of(cellar.ledger, *cellar.ledger.find("J-300")).back.size() == kMostLineSteps);
  CHECK(line_of(cellar.ledger, *cellar.ledger.find("J-0")).forward.size() == kMostLineSteps);
  CHECK(line_of(cellar.ledger, *cellar.ledger.find("J-300")).back.front().parent == "J-299");
}

}  // namespace torpor::daemon
