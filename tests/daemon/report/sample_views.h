// Fixed views for the tests of how they are shown.
#pragma once

#include "daemon/report/views.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

inline Instant at(std::string_view text) { return parse_rfc3339(text).value(); }

inline AirFigures sample_air() {
  AirFigures air;
  air.temperature = Celsius(18.25);
  air.humidity = Percent(61.4);
  air.dew_point = Celsius(10.72);
  air.vapour_pressure = Pascal(1286.4);
  air.absolute_humidity = GramsPerCubicMetre(9.57);
  air.sensor = "s2";
  air.humidity_sensor = "s2";
  air.measured_at = at("2026-03-02T17:29:30Z");
  return air;
}

inline rules::culture::Figures sample_figures() {
  using rules::culture::Ensemble;
  rules::culture::Figures figures;
  figures.highest_temperature = Celsius(27.5);
  figures.inner_dew_h = 2.0;
  figures.water_gained_g = Ensemble{3.25, 1.5, 0.5};
  figures.water_buffer_g = Ensemble{8.0, 13.0, 20.0};
  figures.surface_activity = Ensemble{0.861, 0.842, 0.828};
  figures.body_activity = Ensemble{0.851, 0.832, 0.82};
  figures.wake_progress_percent = Ensemble{12.0, 4.0, 0.0};
  figures.slow_work_percent = Ensemble{30.0, 18.0, 9.0};
  return figures;
}

inline rules::Standing sample_standing() {
  rules::Standing standing;
  standing.jar = "B-07";
  standing.place = "cellar/shelf-2";
  standing.as_of = at("2026-03-02T17:30:00Z");
  standing.state = rules::culture::State::dormant;
  standing.use = rules::Use::yes;
  standing.why = "It sleeps; in the air it has had it wakes in about 3 months.";
  standing.reasons = {"Its cover breathes."};
  using Kind = rules::culture::WakeTime::Kind;
  standing.time_to_wake = {{{Kind::within, 960.0}, {Kind::within, 1920.0}, {Kind::beyond, 4320.0}}};
  standing.coverage_percent = 98.25;
  return standing;
}

inline JarView sample_jar() {
  JarView view;
  view.jar = "B-07";
  view.stage = "IMO-2";
  view.place = "cellar/shelf-2";
  view.closed = at("2026-01-01T23:00:00Z");
  view.as_of = at("2026-03-02T17:30:00Z");
  view.standing = sample_standing();
  view.figures = sample_figures();
  view.air = sample_air();
  view.coverage_percent = 98.25;
  view.alerts = {12};
  return view;
}

inline PlaceView sample_place() {
  PlaceView view;
  view.path = "cellar/shelf-2";
  view.as_of = at("2026-03-02T17:30:00Z");
  view.air = sample_air();
  view.sensors = {"s2"};
  view.jars = {"B-07", "B-08"};
  view.alerts = {12};
  return view;
}

inline SensorView sample_sensor() {
  SensorView view;
  view.id = "s2";
  view.place = "cellar/shelf-2";
  view.state = SensorState::live;
  view.as_of = at("2026-03-02T17:30:00Z");
  view.readings = {{Quantity::temperature, 18.25, 18.5, at("2026-03-02T17:29:30Z"), true},
                   {Quantity::humidity, 161.4, 161.4, at("2026-03-02T17:29:30Z"), false}};
  view.expected_interval = std::chrono::seconds(60);
  view.hold = std::chrono::seconds(180);
  // Thermometer checked in ice two weeks ago, hygrometer never.
  const Check in_ice{at("2026-02-16T09:00:00Z"), Quantity::temperature, 0.0, 0.25, 0.1};
  view.accuracy = {{Quantity::temperature,
                    {1.0, -0.25, 0.1, in_ice.at, 1},
                    SensorChecks::Done{12, MeltingIce{}, in_ice}},
                   {Quantity::humidity, {1.0, 0.0, 3.6, std::nullopt, 0}, std::nullopt}};
  return view;
}

inline AlertView sample_alert() {
  AlertView view;
  view.alert.number = 12;
  view.alert.rule = "warm-shelf";
  view.alert.subject = {rules::SubjectKind::place, "cellar/shelf-2"};
  view.alert.urgency = rules::Urgency::today;
  view.alert.state = rules::AlertState::eased;
  view.alert.since = at("2026-03-01T11:00:00Z");
  view.alert.raised_at = at("2026-03-01T13:00:00Z");
  view.alert.eased_at = at("2026-03-01T20:00:00Z");
  view.alert.seen_at = at("2026-03-01T14:30:00Z");
  view.alert.seen_by = "mara";
  view.alert.what = "cellar/shelf-2 was above 27 °C for 2 h: 27.9 °C.";
  view.alert.why = "Warmth speeds every organism in the jars here.";
  for (const auto remedy : {rules::Remedy::shade, rules::Remedy::move}) {
    view.alert.remedies.push_back({remedy, std::string(rules::remedy_sentence(remedy)), {}});
  }
  view.alert.jars = {"B-07", "B-08"};
  view.alert.figures = {{"temperature", 27.9, "°C"}, {"humidity", std::nullopt, "%"}};
  return view;
}

inline JarHistoryView sample_history() {
  JarHistoryView view;
  view.jar = sample_jar();
  view.made.jar = "B-07";
  view.made.place = "cellar/shelf-1";
  view.made.stage = "IMO-2";
  view.made.rice = Grams(1200);
  view.made.raw = Grams(560);
  view.made.sugar = Grams(1250);
  view.made.topping = Grams(60);
  view.made.vessel = Vessel::glass;
  view.made.volume_ml = 3800;
  view.made.mouth_mm = 110;
  view.made.empty = Grams(1450);
  view.made.cover = Cover::paper;
  view.made.origin = "beech hollow, north slope";
  const Instant from = at("2026-01-01T23:00:00Z"), moved = at("2026-02-10T08:00:00Z"),
                to = at("2026-03-02T17:30:00Z");
  view.stays = {{"cellar/shelf-1", from, moved}, {"cellar/shelf-2", moved, std::nullopt}};
  view.summary = {from, to, 98.25, Celsius(17.92), Celsius(27.9)};
  view.exposure = {
      {from, moved, "cellar/shelf-1", "s1", 100.0, Celsius(14.5), Percent(72.0), Celsius(9.5)},
      {moved, to, "cellar/shelf-2", "", 0.0, std::nullopt, std::nullopt, std::nullopt}};
  view.weeks = {{from, at("2026-01-08T23:00:00Z"), 100.0, Celsius(14.2), Celsius(15.1),
                 Percent(68.0), Percent(75.5)},
                {at("2026-01-08T23:00:00Z"), to, 42.9, std::nullopt, std::nullopt, std::nullopt,
                 std::nullopt}};
  view.half_days = {{from, from + std::chrono::hours(12), 100.0, Celsius(14.2), Celsius(14.8),
                     Percent(68.0), Percent(69.0)},
                    {from + std::chrono::hours(12), from + std::chrono::hours(24), 100.0,
                     Celsius(14.5), Celsius(15.1), Percent(70.0), Percent(75.5)}};
  view.limits = {{0.84, 0.85, 0.865}, {0.87, 0.88, 0.89}};
  view.slices = {{from, at("2026-01-15T23:00:00Z"), 100.0, Celsius(14.0), Celsius(15.0),
                  Percent(60.0), Percent(70.0)},
                 {at("2026-01-15T23:00:00Z"), at("2026-02-01T23:00:00Z"), 0.0, std::nullopt,
                  std::nullopt, std::nullopt, std::nullopt},
                 {at("2026-02-01T23:00:00Z"), to, 100.0, Celsius(15.0), Celsius(27.9),
                  Percent(60.0), Percent(90.0)}};
  view.alerts = {sample_alert()};
  view.journal = {
      {3, from, at("2026-01-02T09:00:00Z"), "mara", "new jar B-07 in cellar/shelf-1",
       R"({"act":"new jar","jar":"B-07"})"},
      {9, moved, at("2026-02-10T08:00:05Z"), "", "move B-07 to cellar/shelf-2", "not JSON"}};
  return view;
}

}  // namespace torpor::daemon
