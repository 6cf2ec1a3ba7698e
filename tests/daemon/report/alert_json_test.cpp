#include "daemon/report/alert_json.h"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {

TEST_CASE("an alert is one object with all that a phone or a page shows") {
  const auto tree = nlohmann::json::parse(alert_json(sample_alert()));
  CHECK(tree["number"] == 12);
  CHECK(tree["rule"] == "warm-shelf");
  CHECK(tree["subject_kind"] == "place");
  CHECK(tree["subject"] == "cellar/shelf-2");
  CHECK(tree["urgency"] == "today");
  CHECK(tree["state"] == "eased");
  CHECK(tree["since"] == "2026-03-01T11:00:00Z");
  CHECK(tree["raised"] == "2026-03-01T13:00:00Z");
  CHECK(tree["eased"] == "2026-03-01T20:00:00Z");
  CHECK(tree["ended"].is_null());
  CHECK(tree["seen"] == "2026-03-01T14:30:00Z");
  CHECK(tree["seen_by"] == "mara");
  CHECK(tree["deferred_until"].is_null());
  CHECK(tree["jars"] == std::vector<std::string>{"B-07", "B-08"});
  REQUIRE(tree["remedies"].size() == 2);
  CHECK(tree["remedies"][1]["name"] == "move");
  CHECK(tree["remedies"][1]["advice"] == rules::remedy_sentence(rules::Remedy::move));
  CHECK(tree["symptoms"] == nlohmann::json::array());
  CHECK(tree["figures"][0]["value"] == 27.9);
  CHECK(tree["figures"][0]["unit"] == "°C");
  CHECK(tree["figures"][1]["value"].is_null());
  CHECK(alert_json(sample_alert()).find('\n') == std::string::npos);
}

TEST_CASE("an alert read back is the alert that was written") {
  AlertView view = sample_alert();
  for (const auto kind : {rules::SubjectKind::place, rules::SubjectKind::jar,
                          rules::SubjectKind::sensor, rules::SubjectKind::service}) {
    for (const auto state :
         {rules::AlertState::standing, rules::AlertState::eased, rules::AlertState::ended}) {
      view.alert.subject = {kind, kind == rules::SubjectKind::service ? "" : "B-07"};
      view.alert.state = state;
      const auto back = alert_from_json(alert_json(view));
      REQUIRE(back.has_value());
      CHECK(back->alert == view.alert);
    }
  }
  view.alert.remedies.clear();
  for (int i = 0; i <= static_cast<int>(rules::Remedy::renew_vessel); ++i) {
    view.alert.remedies.push_back(
        {static_cast<rules::Remedy>(i), "Do it.", {{"sugar", 130.0, "g"}}});
  }
  view.alert.symptoms = {{"B-07", "damp-topping", "Jar B-07: surface activity 0.880."},
                         {"B-08", "wakes-soon", ""}};
  view.alert.urgency = rules::Urgency::this_week;
  view.alert.deferred_until = at("2026-03-02T06:00:00Z");
  view.alert.deferred_reason = "moving tonight";
  view.alert.ended_at = at("2026-03-01T21:00:00.5Z");
  view.alert.seen_at.reset();
  view.alert.seen_by.clear();
  const auto back = alert_from_json(alert_json(view));
  REQUIRE(back.has_value());
  CHECK(back->alert == view.alert);
}

TEST_CASE("an alert says what it explains: which jar, which rule, in words") {
  AlertView view = sample_alert();
  view.alert.symptoms = {{"B-07", "damp-topping", "Jar B-07: surface activity 0.880."}};
  CHECK(nlohmann::json::parse(alert_json(view))["symptoms"] ==
        nlohmann::json::parse(R"([{"jar":"B-07","rule":"damp-topping",)"
                              R"("what":"Jar B-07: surface activity 0.880."}])"));
}

TEST_CASE("an alert of an older version keeps defaults for what it lacks") {
  const auto view = alert_from_json(R"({"number":3,"raised":"2026-03-01T13:00:00Z"})");
  REQUIRE(view.has_value());
  CHECK(view->alert.number == 3);
  CHECK(view->alert.since == at("2026-03-01T13:00:00Z"));
  CHECK(view->alert.state == rules::AlertState::standing);
  CHECK(view->alert.jars.empty());
  CHECK(view->alert.symptoms.empty());
}

TEST_CASE("an alert that cannot be read is an error with its reason") {
  CHECK(alert_from_json("[]").error() == "an alert in the history is not an object with a number");
  CHECK(alert_from_json("{}").error() == "an alert in the history is not an object with a number");
  CHECK(alert_from_json("").error().starts_with("an alert in the history cannot be read: "));
  CHECK(alert_from_json(R"({"number":"x"})")
            .error()
            .starts_with("an alert in the history cannot be read: "));
}

TEST_CASE("text that is not UTF-8 does not keep an alert from being shown") {
  AlertView view = sample_alert();
  view.alert.what = "bad \xff byte";
  const auto back = alert_from_json(alert_json(view));
  REQUIRE(back.has_value());
  CHECK(back->alert.what == "bad \xef\xbf\xbd byte");  // U+FFFD
}

}  // namespace torpor::daemon
