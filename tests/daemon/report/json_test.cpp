#include "daemon/report/json.h"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <set>

#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

using nlohmann::json;

std::set<std::string> keys(const json& tree) {
  std::set<std::string> keys;
  for (const auto& [key, value] : tree.items()) keys.insert(key);
  return keys;
}

}  // namespace

TEST_CASE("a jar's retained state is one line of JSON") {
  CHECK(
      jar_json(sample_jar()) ==
      R"({"jar":"B-07","state":"dormant","use":"yes","reasons":["It sleeps; in the air it has had )"
      R"(it wakes in about 3 months.","Its cover breathes."],"urgency":null,"deed":null,)"
      R"("next_deed":null,"next_date":null,"next_date_is":null,"recomputing":false,)"
      R"("as_of":"2026-03-02T17:30:00Z",)"
      R"("stage":"IMO-2","place":"cellar/shelf-2","closed":"2026-01-01T23:00:00Z","retired":null,)"
      R"("temperature_degC":18.25,"humidity_percent":61.4,"dew_point_degC":10.72,)"
      R"("vapour_pressure_Pa":1286.4,"absolute_humidity_g_m3":9.57,"temperature_sensor":"s2",)"
      R"("humidity_sensor":"s2","measured":"2026-03-02T17:29:30Z","coverage_percent":98.25,)"
      R"("highest_jar_temperature_degC":27.5,"inner_dew_h":2.0,)"
      R"("water_gained_g":{"cautious":3.25,"likely":1.5,"hopeful":0.5},)"
      R"("water_buffer_g":{"cautious":8.0,"likely":13.0,"hopeful":20.0},)"
      R"("surface_water_activity":{"cautious":0.861,"likely":0.842,"hopeful":0.828},)"
      R"("body_water_activity":{"cautious":0.851,"likely":0.832,"hopeful":0.82},)"
      R"("wake_progress_percent":{"cautious":12.0,"likely":4.0,"hopeful":0.0},)"
      R"("slow_work_percent":{"cautious":30.0,"likely":18.0,"hopeful":9.0},)"
      R"("time_to_wake_h":{"cautious":960.0,"likely":1920.0,"hopeful":{"beyond_h":4320}},)"
      R"("alerts":[12]})");
}

TEST_CASE("a place's retained state is one line of JSON") {
  CHECK(place_json(sample_place()) ==
        R"({"place":"cellar/shelf-2","outside":false,"as_of":"2026-03-02T17:30:00Z",)"
        R"("temperature_degC":18.25,"humidity_percent":61.4,"dew_point_degC":10.72,)"
        R"("vapour_pressure_Pa":1286.4,"absolute_humidity_g_m3":9.57,"temperature_sensor":"s2",)"
        R"("humidity_sensor":"s2","measured":"2026-03-02T17:29:30Z","sensors":["s2"],)"
        R"("jars":["B-07","B-08"],"alerts":[12]})");
}

TEST_CASE("a sensor's retained state is one line of JSON") {
  CHECK(sensor_json(sample_sensor()) ==
        R"({"sensor":"s2","place":"cellar/shelf-2","jar":null,"senses":"air","state":"live",)"
        R"("as_of":"2026-03-02T17:30:00Z","readings":[{"quantity":"temperature",)"
        R"("temperature_degC":18.25,"raw_temperature_degC":18.5,)"
        R"("measured":"2026-03-02T17:29:30Z","trusted":true},)"
        R"({"quantity":"humidity","humidity_percent":161.4,"raw_humidity_percent":161.4,)"
        R"("measured":"2026-03-02T17:29:30Z",)"
        R"("trusted":false}],"expected_interval_s":60.0,"hold_s":180.0,"trusted":true,)"
        R"("doubts":[],"reasons":[],"learned_interval_s":null,"check":null,)"
        R"("accuracy":[{"quantity":"temperature","checked":"2026-02-16T09:00:00Z","in":"ice",)"
        R"("entry":12,"points":1,"gain":1.0,"offset_K":-0.25,"expected_error_K":0.2},)"
        R"({"quantity":"humidity","checked":null,"in":null,"entry":null,"points":0,"gain":1.0,)"
        R"("offset_percent":0.0,"expected_error_percent":7.2}],"alerts":[]})");
}

TEST_CASE("what nobody knows is null, not zero and not absent") {
  JarView jar = sample_jar();
  jar.place.clear();
  jar.stage.clear();
  jar.air = {};
  jar.figures = {};
  jar.standing.time_to_wake = {};
  const json tree = json::parse(jar_json(jar));
  for (const char* key : {"place", "stage", "temperature_degC", "humidity_percent",
                          "dew_point_degC", "temperature_sensor", "measured", "time_to_wake_h",
                          "surface_water_activity", "water_buffer_g"}) {
    CAPTURE(key);
    REQUIRE(tree.contains(key));
    CHECK(tree[key].is_null());
  }
}

TEST_CASE("a jar's JSON has its standing: use, deeds with their words, and the next date") {
  JarHistoryView view = sample_history();
  rules::Standing& standing = view.jar.standing;
  standing.use = rules::Use::wake_test_first;
  standing.urgency = rules::Urgency::this_week;
  standing.deed = rules::Advice{rules::Remedy::wake_test, "Test a spoonful.", {}};
  standing.next = rules::Advice{rules::Remedy::look, "Look at it.", {}};
  standing.next_date = rules::NextDate{at("2026-03-17T00:00:00Z"), "it has settled"};
  standing.recomputing = true;
  for (const std::string& text : {jar_json(view.jar), jar_history_json(view)}) {
    const json tree = json::parse(text);
    CHECK(tree["use"] == "wake test first");
    CHECK(tree["urgency"] == "this-week");
    CHECK(tree["deed"] == "Test a spoonful.");
    CHECK(tree["next_deed"] == "Look at it.");
    CHECK(tree["next_date"] == "2026-03-17T00:00:00Z");
    CHECK(tree["next_date_is"] == "it has settled");
    CHECK(tree["recomputing"] == true);
    CHECK(tree["reasons"] ==
          std::vector<std::string>{"It sleeps; in the air it has had it wakes in about 3 months.",
                                   "Its cover breathes."});
  }
}

TEST_CASE("each list is one named array with the time it is of") {
  const Instant now = at("2026-03-02T17:30:00Z");
  const JarView jars[] = {sample_jar()};
  const PlaceView places[] = {sample_place()};
  const SensorView sensors[] = {sample_sensor()};
  const AlertView alerts[] = {sample_alert()};
  const struct {
    const char* name;
    std::string text;
  } lists[] = {{"jars", jars_json(jars, now)},
               {"places", places_json(places, now)},
               {"sensors", sensors_json(sensors, now)},
               {"alerts", alerts_json(alerts, now)}};
  for (const auto& list : lists) {
    const json tree = json::parse(list.text);
    CHECK(keys(tree) == std::set<std::string>{"as_of", list.name});
    CHECK(tree[list.name].size() == 1);
    CHECK(tree["as_of"] == "2026-03-02T17:30:00Z");
  }
  CHECK(json::parse(jars_json({}, now))["jars"] == json::array());
  // The keys that others' checks rely on.
  const json alert = json::parse(lists[3].text)["alerts"][0];
  for (const char* key : {"rule", "subject", "raised", "eased", "urgency", "jars", "number", "seen",
                          "deferred_until", "ended"}) {
    CAPTURE(key);
    CHECK(alert.contains(key));
  }
}

TEST_CASE("a jar's history has exactly the promised keys") {
  const json tree = json::parse(jar_history_json(sample_history()));
  CHECK(keys(tree) == std::set<std::string>{"jar",
                                            "state",
                                            "use",
                                            "urgency",
                                            "reasons",
                                            "deed",
                                            "next_deed",
                                            "next_date",
                                            "next_date_is",
                                            "recomputing",
                                            "from",
                                            "to",
                                            "coverage_percent",
                                            "mean_kinetic_temperature_degC",
                                            "highest_temperature_degC",
                                            "highest_jar_temperature_degC",
                                            "inner_dew_h",
                                            "water_gained_g",
                                            "water_buffer_g",
                                            "surface_water_activity",
                                            "body_water_activity",
                                            "wake_progress_percent",
                                            "slow_work_percent",
                                            "time_to_wake_h",
                                            "stays",
                                            "alerts",
                                            "parents",
                                            "children",
                                            "collection",
                                            "line",
                                            "taken",
                                            "journal",
                                            "exposure"});
  CHECK(tree["from"] == "2026-01-01T23:00:00Z");
  CHECK(tree["to"] == "2026-03-02T17:30:00Z");
  CHECK(tree["mean_kinetic_temperature_degC"] == 17.92);
  CHECK(tree["stays"][0] == json({{"place", "cellar/shelf-1"},
                                  {"from", "2026-01-01T23:00:00Z"},
                                  {"to", "2026-02-10T08:00:00Z"}}));
  CHECK(tree["stays"][1]["to"].is_null());
  CHECK(tree["alerts"][0]["number"] == 12);
  CHECK(tree["journal"][0]["act"]["jar"] == "B-07");
  CHECK(tree["journal"][1]["act"] == "not JSON");
  CHECK(tree["journal"][1]["by"].is_null());
  CHECK(tree["exposure"][0] == json({{"from", "2026-01-01T23:00:00Z"},
                                     {"to", "2026-02-10T08:00:00Z"},
                                     {"place", "cellar/shelf-1"},
                                     {"sensor", "s1"},
                                     {"coverage_percent", 100.0},
                                     {"temperature_degC", 14.5},
                                     {"humidity_percent", 72.0},
                                     {"dew_point_degC", 9.5}}));
  CHECK(tree["exposure"][1]["temperature_degC"].is_null());
}

TEST_CASE("where no time has passed the coverage is unknown, not zero") {
  JarHistoryView view = sample_history();
  view.summary.from = view.summary.to;
  view.jar.coverage_percent.reset();
  CHECK(json::parse(jar_history_json(view))["coverage_percent"].is_null());
  CHECK(json::parse(jar_json(view.jar))["coverage_percent"].is_null());
}

TEST_CASE("exposure as CSV leaves the unknown empty and quotes what needs it") {
  JarHistoryView view = sample_history();
  view.exposure[1].place = "shelf, \"old\"";
  CHECK(exposure_csv(view.exposure) ==
        "from,to,place,sensor,coverage_percent,temperature_degC,humidity_percent,dew_point_degC\n"
        "2026-01-01T23:00:00Z,2026-02-10T08:00:00Z,cellar/shelf-1,s1,100,14.5,72,9.5\n"
        "2026-02-10T08:00:00Z,2026-03-02T17:30:00Z,\"shelf, \"\"old\"\"\",,0,,,\n");
}

TEST_CASE("air as JSON has exactly the promised keys") {
  AirView view;
  view.dew_point = Celsius(16.7018);
  view.vapour_pressure = Pascal(1901.894);
  view.saturation_vapour_pressure = Pascal(3169.824);
  view.absolute_humidity = GramsPerCubicMetre(13.8216);
  view.humidity_ratio = HumidityRatio(0.0118974);
  CHECK(json::parse(air_json(view)) == json({{"dew_point_degC", 16.7018},
                                             {"vapour_pressure_Pa", 1901.894},
                                             {"saturation_vapour_pressure_Pa", 3169.824},
                                             {"absolute_humidity_g_m3", 13.8216},
                                             {"humidity_ratio_kg_kg", 0.0118974}}));
  view.dew_point.reset();
  CHECK(json::parse(air_json(view))["dew_point_degC"].is_null());
}

TEST_CASE("a unit's conversion leaves no tail of digits") {
  AirView view;
  view.dew_point = Celsius(25.000000000000004);
  CHECK(air_json(view).find("\"dew_point_degC\": 25.0,") != std::string::npos);
}

}  // namespace torpor::daemon
