#include "daemon/report/sensor_words.h"

#include <doctest/doctest.h>

#include "sensors/trust.h"

namespace torpor::daemon {
namespace {

SensorView live_sensor() {
  SensorView view;
  view.id = "s1";
  view.state = SensorState::live;
  view.readings = {{Quantity::temperature, 18.0, 18.0, Instant{}, true}};
  view.standing = rules::SensorStanding{};
  return view;
}

}  // namespace

TEST_CASE("a sensor is believed, doubted, disbelieved or in a check") {
  SensorView view = live_sensor();
  CHECK(trust_state(view) == "believed");
  CHECK(trust_reasons(view).empty());
  view.standing->doubts = kDrifts;
  view.standing->reasons = {"it drifts"};
  CHECK(trust_state(view) == "believed, with a doubt");
  CHECK(trust_reasons(view) == std::vector<std::string>{"it drifts"});
  view.standing->doubts = kDrifts | kStuck;
  CHECK(trust_state(view) == "not believed");
  view.standing->doubts = kInCheck;
  view.standing->check = "it stands at 72 %";
  CHECK(trust_state(view) == "in a check");
  CHECK(trust_reasons(view) == std::vector<std::string>{"it stands at 72 %"});
}

TEST_CASE("a sensor that the judges have not seen is judged by its newest value") {
  SensorView view = live_sensor();
  view.standing.reset();
  CHECK(trust_state(view) == "believed");
  view.readings[0].trusted = false;
  CHECK(trust_state(view) == "not believed");
}

TEST_CASE("what is not heard is neither believed nor doubted") {
  SensorView view = live_sensor();
  view.standing->doubts = kStuck;
  view.state = SensorState::silent;
  CHECK(trust_state(view) == "silent");
  view.state = SensorState::never_heard;
  CHECK(trust_state(view) == "never heard");
  view.state = SensorState::not_configured;
  CHECK(trust_state(view) == "not configured");
}

}  // namespace torpor::daemon
