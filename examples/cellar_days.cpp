// The invented cellar's ten days, 14 to 24 July 2025, published to a broker at speed: six sensors
// in three payload forms, a warm spell, a damp spell, a sensor that falls silent and a jar that is
// carried to a cooler shelf. Weather and rooms are made up from sines, slow swings and seeded
// noise; humidity follows from one water content of the air, so that a cooler room is a damper one.
#include <fmt/format.h>
#include <mqtt/async_client.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <deque>
#include <numbers>
#include <random>
#include <string>

#include "rules/air/psychrometrics.h"
#include "sensors/rfc3339.h"

namespace {

using namespace torpor;
namespace air = rules::air;

constexpr Instant kFirst = instant_of(1'752'444'000'000);  // 2025-07-14T00:00 in the cellar's zone
constexpr Duration kStep = std::chrono::minutes(5);
constexpr int kDays = 10;
constexpr int kStepsPerDay = static_cast<int>(std::chrono::hours(24) / kStep);

// A spell that comes and goes: 0 outside [from, to] days, 1 in the middle, smooth.
double spell(double day, double from, double to) {
  if (day <= from || day >= to) return 0.0;
  return std::pow(std::sin(std::numbers::pi * (day - from) / (to - from)), 0.7);
}

// The daily swing, coldest at five and warmest at five in the afternoon.
double swing(double day) { return std::sin(2.0 * std::numbers::pi * (day - 11.0 / 24.0)); }

struct Air {
  Celsius temperature;
  Percent humidity;
};

class Days {
 public:
  // Everything at one step; called in order.
  void step(int number) {
    const double day = static_cast<double>(number) / kStepsPerDay;
    warm_ = spell(day, 2.0, 5.2);
    damp_ = spell(day, 5.6, 9.0);
    const double outside = 18.0 + 9.0 * warm_ - 1.5 * damp_ + 5.5 * swing(day);
    outside_ = of(outside, 1350.0 + 250.0 * warm_ + 420.0 * damp_);
    // The rock follows the weather by days, the shelf by the door by hours, the loft under its roof
    // at once.
    rock_ += (16.2 + 1.6 * warm_ - rock_) / (2.5 * kStepsPerDay);
    door_ += (rock_ + 2.2 + 0.75 * (outside - 18.0) - door_) / (0.3 * kStepsPerDay);
    const double water = 1330.0 + 120.0 * warm_ + 430.0 * damp_;
    shelf_1_ = of(door_, water);
    shelf_2_ = of(rock_ + 0.4, water - 15.0);
    shelf_3_ = of(rock_ + 0.9, water - 5.0);
    loft_ = of(outside + 3.5 + 2.5 * std::max(0.0, swing(day)), 1300.0 + 300.0 * damp_);
    probe_ += (rock_ + 0.4 - probe_) / 36.0;  // three hours behind its shelf
  }

  [[nodiscard]] Air shelf_1() const { return shelf_1_; }
  [[nodiscard]] Air shelf_2() const { return shelf_2_; }
  [[nodiscard]] Air shelf_3() const { return shelf_3_; }
  [[nodiscard]] Air loft() const { return loft_; }
  [[nodiscard]] Air outside() const { return outside_; }
  [[nodiscard]] Celsius probe() const { return Celsius(probe_); }

 private:
  // Air of this temperature that holds this vapour pressure (Pa), with a sensor's noise.
  Air of(double temperature, double pressure) {
    const Celsius t(temperature + 0.04 * noise_(random_));
    const double humidity = air::relative_humidity(t, Pascal(pressure)).value();
    return {t, Percent(std::clamp(humidity + 0.25 * noise_(random_), 5.0, 99.0))};
  }

  std::mt19937 random_{20250714};
  std::normal_distribution<double> noise_;
  double warm_ = 0.0, damp_ = 0.0;
  double rock_ = 16.2, door_ = 18.0, probe_ = 16.6;
  Air shelf_1_, shelf_2_, shelf_3_, loft_, outside_;
};

// Publishes at QoS 1 with a bounded number unacknowledged.
class Publisher {
 public:
  explicit Publisher(const std::string& uri)
      : client_(uri, "fernhollow-sensors", mqtt::create_options(MQTTVERSION_5)) {
    options_.set_mqtt_version(MQTTVERSION_5);
    options_.set_clean_start(true);
    options_.set_max_inflight(kInFlight);
    client_.connect(options_)->wait();
  }
  ~Publisher() {
    drain(0);
    client_.disconnect()->wait();
  }
  Publisher(const Publisher&) = delete;
  Publisher& operator=(const Publisher&) = delete;

  void publish(const std::string& topic, const std::string& payload) {
    waiting_.push_back(client_.publish(topic, payload.data(), payload.size(), 1, false));
    ++published_;
    drain(kInFlight);
  }
  [[nodiscard]] int published() const { return published_; }

 private:
  static constexpr int kInFlight = 50;

  void drain(std::size_t left) {
    while (waiting_.size() > left) {
      waiting_.front()->wait();
      waiting_.pop_front();
    }
  }

  mqtt::async_client client_;
  mqtt::connect_options options_;  // outlives the connection, as paho-cpp 1.2 wants
  std::deque<mqtt::delivery_token_ptr> waiting_;
  int published_ = 0;
};

std::string json(const Air& air, const std::string& time) {
  return fmt::format(R"({{"t":{:.2f},"rh":{:.1f},{}}})", air.temperature.value(),
                     air.humidity.value(), time);
}

void play(Publisher& to) {
  Days days;
  for (int number = 0; number < kDays * kStepsPerDay; ++number) {
    days.step(number);
    const Instant now = kFirst + number * kStep;
    const double day = static_cast<double>(number) / kStepsPerDay;
    const std::string milliseconds = fmt::format("\"ms\":{}", unix_ms(now));
    to.publish("fernhollow/room/yard", json(days.outside(), milliseconds));
    to.publish("fernhollow/room/loft-1", json(days.loft(), milliseconds));
    to.publish("fernhollow/s1",
               json(days.shelf_1(), fmt::format("\"ts\":{}", unix_ms(now) / 1000)));
    to.publish("fernhollow/s2/senml",
               fmt::format(R"([{{"bn":"s2:","bt":{},"n":"t","u":"Cel","v":{:.2f}}},)"
                           R"({{"n":"rh","u":"%RH","v":{:.1f}}}])",
                           unix_ms(now) / 1000, days.shelf_2().temperature.value(),
                           days.shelf_2().humidity.value()));
    if (day < 8.4) {  // then its battery is flat
      to.publish("fernhollow/s3",
                 fmt::format(R"({{"air":{{"temperature":{:.2f},"humidity":{:.1f}}},"when":"{}"}})",
                             days.shelf_3().temperature.value() * 1.8 + 32.0,
                             days.shelf_3().humidity.value(), to_rfc3339(now)));
    }
    to.publish("fernhollow/p7", fmt::format("{:.2f}", days.probe().value()));
    // The keeper has read the phone and mends the jar that was mixed with too little sugar.
    if (number == 1 * kStepsPerDay + 17 * 12) {
      to.publish("torpor/cellar/tell", "add sugar 260 g to F-08 stirred in by \"Mira\"");
    }
    // Later the keeper carries the loft's jars down.
    if (number == 3 * kStepsPerDay + 18 * 12) {
      to.publish("torpor/cellar/tell", "move F-11 to cellar/shelf-2 by \"Mira\"");
      to.publish("torpor/cellar/tell", "move F-12 to cellar/shelf-2 by \"Mira\"");
    }
  }
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "usage: cellar_days tcp://HOST:PORT\n");
    return 2;
  }
  try {
    Publisher publisher(argv[1]);
    play(publisher);
    std::printf("%d messages of %d days published\n", publisher.published(), kDays);
    return 0;
  } catch (const std::exception& error) {
    std::fprintf(stderr, "cellar_days: %s\n", error.what());
    return 1;
  }
}
