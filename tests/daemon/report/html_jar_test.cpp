#include "daemon/report/html_jar.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <map>

#include "daemon/report/life_marks.h"
#include "daemon/report/life_picture.h"
#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

const LocalTime kReportZone = LocalTime::in_zone("Europe/Vienna").value();

std::string report_of(const JarHistoryView& view) {
  return jar_report(view, {kReportZone, view.jar.as_of, "cellar"});
}

bool contains(const std::string& text, std::string_view part) {
  return text.find(part) != std::string::npos;
}

std::size_t count_of(const std::string& text, std::string_view part) {
  std::size_t count = 0;
  for (std::size_t from = 0; (from = text.find(part, from)) != std::string::npos; ++from) ++count;
  return count;
}

// A life that is as long and as full as lives get: ten years, hundreds of entries and alerts.
JarHistoryView long_life() {
  JarHistoryView view = sample_history();
  const Instant from = at("2016-03-01T00:00:00Z"), to = at("2026-03-01T00:00:00Z");
  view.summary.from = view.jar.closed = from;
  view.summary.to = view.jar.as_of = to;
  const Duration slice = (to - from) / kPicturePoints;
  view.slices.clear();
  for (int i = 0; i < kPicturePoints; ++i) {
    const double swing = (i % 24) / 24.0;
    view.slices.push_back({from + i * slice, from + (i + 1) * slice, i % 50 == 7 ? 0.0 : 100.0,
                           Celsius(8.0 + swing), Celsius(22.0 + swing), Percent(50.0 + swing),
                           Percent(92.0 - swing)});
    for (int day = 0; day < 15; ++day) {
      view.life.push_back({from + i * slice + day * slice / 15,
                           rules::culture::Ensemble{0.86, 0.84 - day * 0.001, 0.82},
                           rules::culture::Ensemble{60.0, 20.0, 5.0},
                           rules::culture::Ensemble{0.85, 0.84, 0.83}});
    }
  }
  view.journal.assign(300, view.journal[0]);
  for (std::size_t i = 0; i < view.journal.size(); ++i) {
    view.journal[i].number = i + 1;
    view.journal[i].happened_at = from + static_cast<std::int64_t>(i) * std::chrono::hours(290);
  }
  view.alerts.assign(200, view.alerts[0]);
  for (std::size_t i = 0; i < view.alerts.size(); ++i) {
    rules::Alert& alert = view.alerts[i].alert;
    alert.number = i + 1;
    alert.since = from + static_cast<std::int64_t>(i) * std::chrono::hours(430);
    alert.ended_at = alert.since + std::chrono::hours(40);
  }
  return view;
}

}  // namespace

TEST_CASE("the report begins with the sentence and has everything a keeper asks for") {
  const std::string page = report_of(sample_history());
  const std::size_t sentence =
      page.find("dormant, use: yes. It sleeps; in the air it has had it wakes in about 3 months.");
  REQUIRE(sentence != std::string::npos);
  CHECK(sentence < page.find("<svg"));
  for (const std::string_view part :
       {"What to do", "Nothing to do.", "What else there is to know", "Its cover breathes.",
        "Jar B-07", "Air, °C", "Air, % humidity", "Water activity (estimate)",
        "Waking, % done (estimate)", "cellar/shelf-1", "12 warm-shelf", "2 Jan 2026 00:00",
        "Journal", "beech hollow, north slope", "0.842 (0.828 to 0.861)", "not food"}) {
    CAPTURE(part);
    CHECK(contains(page, part));
  }
}

TEST_CASE("the report says the deed, what comes next and by when, and of the past no deed") {
  JarHistoryView view = sample_history();
  rules::Standing& standing = view.jar.standing;
  standing.use = rules::Use::look_first;
  standing.urgency = rules::Urgency::now;
  standing.deed = rules::Advice{rules::Remedy::ease_lid, "Ease the lid of B-07 slowly.", {}};
  standing.next = rules::Advice{rules::Remedy::look, "Look at B-07.", {}};
  standing.next_date = rules::NextDate{at("2026-03-16T23:30:00Z"), "it has settled"};
  std::string page = report_of(view);
  for (const std::string_view part :
       {"dormant, use: look first.", "<b>Now:</b> Ease the lid of B-07 slowly.",
        "Then: Look at B-07.", "17 Mar 2026 it has settled."}) {
    CAPTURE(part);
    CHECK(contains(page, part));
  }
  CHECK_FALSE(contains(page, "Nothing to do."));
  view.jar.past = true;
  page = report_of(view);
  CHECK(contains(page, "Then: dormant, use: look first."));
  CHECK_FALSE(contains(page, "What to do"));
  CHECK_FALSE(contains(page, "Ease the lid"));
}

TEST_CASE("the picture says which sensor spoke, and where it changed") {
  JarHistoryView view = sample_history();
  const Instant from = view.summary.from, to = view.summary.to;
  const Instant middle = from + (to - from) / 2;
  view.exposure = {{from, from + std::chrono::hours(1), "", "s1", 100.0, {}, {}, {}},
                   {from + std::chrono::hours(1), middle, "", "s1", 100.0, {}, {}, {}},
                   {middle, middle + std::chrono::minutes(10), "", "", 0.0, {}, {}, {}},
                   {middle + std::chrono::minutes(10), to, "", "top", 100.0, {}, {}, {}}};
  const std::string page = report_of(view);
  CHECK(count_of(page, "class=\"speaker\"") == 2);  // the ten minutes are no wider than a line
  CHECK(contains(page, ">by s1</text>"));
  CHECK(contains(page, ">by top</text>"));
  view.exposure[2].to = view.exposure[3].from = to - (to - from) / 4;
  CHECK(contains(report_of(view), ">no sensor</text>"));
}

TEST_CASE("a report in other units has none of the usual ones") {
  JarHistoryView view = sample_history();
  view.jar.standing.reasons = {"It can still take about 13 g of water."};
  view.jar.standing.why = "It is above 20 °C.";
  view.jar.standing.deed = rules::Advice{rules::Remedy::add_sugar, "Stir in about 45 g.", {}};
  PageContext context{kReportZone, view.jar.as_of, "cellar", PersonUnits({true, true})};
  const std::string page = jar_report(view, context);
  for (const std::string_view part : {"°C", " g,", " g<", "13 g"}) {
    CAPTURE(part);
    CHECK_FALSE(contains(page, part));
  }
  for (const std::string_view part : {"81.5 °F", "68 °F", "about 1.6 oz", "about 0.5 oz of water",
                                      "rice 42.3 oz", "0.05 oz (0.02 to 0.11)"}) {
    CAPTURE(part);
    CHECK(contains(page, part));
  }
}

TEST_CASE("the report asks nobody for anything and runs nothing") {
  const std::string page = report_of(long_life());
  for (const std::string_view part : {"http:", "https:", "//", "<script", "<img", "<link",
                                      "<iframe", "@import", " style=", "javascript"}) {
    CAPTURE(part);
    CHECK_FALSE(contains(page, part));
  }
  CHECK(count_of(page, "url(") == count_of(page, "url(#uncovered)"));
}

TEST_CASE("names and notes of markup stay words") {
  JarHistoryView view = sample_history();
  const std::string evil = "\"><script>alert(1)</script>";
  view.jar.jar = view.made.origin = view.jar.stage = view.jar.place = view.stays[0].place = evil;
  view.journal[0].sentence = view.journal[0].by = view.jar.air.sensor = evil;
  view.alerts[0].alert.what = view.alerts[0].alert.rule = evil;
  view.jar.standing.reasons = {evil};
  view.jar.standing.why = evil;
  view.jar.standing.deed = view.jar.standing.next = rules::Advice{rules::Remedy::look, evil, {}};
  const std::string page = report_of(view);
  CHECK_FALSE(contains(page, "<script"));
  CHECK(count_of(page, "&quot;&gt;&lt;script&gt;alert(1)&lt;/script&gt;") >= 13);
}

TEST_CASE("a jar of no time, and one with a single reading, have a report") {
  JarHistoryView view = sample_history();
  view.summary.from = view.summary.to;
  view.slices.clear();
  CHECK(contains(report_of(view), "No time has passed yet"));
  view = sample_history();
  view.slices.resize(1);
  view.life = {{view.summary.from, rules::culture::Ensemble{0.86, 0.84, 0.82},
                rules::culture::Ensemble{0.0, 0.0, 0.0}, std::nullopt}};
  const std::string page = report_of(view);
  CHECK(contains(page, "<path class=\"air\""));
  CHECK_FALSE(contains(page, "nan"));
  CHECK_FALSE(contains(page, "inf"));
}

TEST_CASE("where nothing is known the picture says so") {
  JarHistoryView view = sample_history();
  view.slices.clear();
  view.life.clear();
  CHECK(count_of(report_of(view), "not known</text>") == 4);
}

TEST_CASE("ten years of entries and alerts stay within a page and 120 kB") {
  const std::string page = report_of(long_life());
  CHECK(page.size() < 120'000);
  CHECK(contains(page, "296 earlier not shown"));
  CHECK(contains(page, "198 earlier not shown"));
  CHECK(contains(page, "fill=\"url(#uncovered)\""));
}

TEST_CASE("marks and bars that stand close get rows of their own, and no more than fit") {
  const JarHistoryView view = long_life();
  const TimeScale scale(view.summary.from, view.summary.to);
  const auto marks = marks_of(view, scale);
  CHECK(mark_rows(marks) <= 3);
  CHECK(marks.size() <= 40);
  CHECK(contains(marks.back().number, "\u2026300"));
  const auto bars = alert_bars(view, scale);
  CHECK(bar_rows(bars) <= 5);
  REQUIRE_FALSE(bars.empty());
  CHECK(bars.front().words == "200 warm-shelf");
  std::map<int, double> last;  // end of the row's words so far, from the right
  for (const AlertBar& bar : bars) {
    CHECK((last.count(bar.row) == 0 || bar.to <= last[bar.row]));
    last[bar.row] = bar.from;
  }
}

}  // namespace torpor::daemon
