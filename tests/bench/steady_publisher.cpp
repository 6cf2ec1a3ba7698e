// Publishes the readings of a storeroom's sensors, each with its own time, as fast as the broker
// takes them or at their own pace. Not a test: feeds footprint.sh.
//
//   torpor_steady_publisher PORT SENSORS SECONDS MESSAGES [now]
//
// SENSORS speak in turn on room/s1, room/s2, ..., each every SECONDS; MESSAGES in all, of
// temperature and humidity. Times begin at 2026-01-01T00:00:00Z; with `now` they are the clock's,
// and each message waits for its time.
#include <mqtt/async_client.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <deque>
#include <string>
#include <thread>

namespace {

// Waiting for acknowledgement at a time.
constexpr std::size_t kInFlight = 200;

std::string payload(int sensor, std::int64_t ms) {
  const double day = static_cast<double>(ms) / 86.4e6;
  const double wave = std::sin(6.283185307 * day);
  const int noise = static_cast<int>((ms / 1000 * 7 + sensor * 13) % 11);
  char text[96];
  std::snprintf(text, sizeof text, R"({"ms":%lld,"t":%.1f,"rh":%.1f})", static_cast<long long>(ms),
                14.0 + 2.0 * wave + 0.1 * noise, 65.0 - 4.0 * wave + 0.2 * noise);
  return text;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 5) {
    std::fprintf(stderr, "torpor_steady_publisher PORT SENSORS SECONDS MESSAGES [now]\n");
    return 2;
  }
  const int sensors = std::atoi(argv[2]);
  const double seconds = std::atof(argv[3]);
  const std::int64_t messages = std::atoll(argv[4]);
  const bool now = argc > 5;
  using Clock = std::chrono::system_clock;
  const auto ms_of = [](Clock::time_point t) {
    return std::chrono::duration_cast<std::chrono::milliseconds>(t.time_since_epoch()).count();
  };
  const std::int64_t begin = now ? ms_of(Clock::now()) : 1767225600000;
  try {
    mqtt::async_client client(std::string("tcp://127.0.0.1:") + argv[1], "steady",
                              mqtt::create_options(MQTTVERSION_5, kInFlight));
    client.connect(mqtt::connect_options_builder().mqtt_version(MQTTVERSION_5).finalize())->wait();
    std::deque<mqtt::delivery_token_ptr> waiting;
    for (std::int64_t i = 0; i < messages; ++i) {
      const int sensor = static_cast<int>(i % sensors);
      const std::int64_t at =
          begin + static_cast<std::int64_t>(1000.0 * seconds * static_cast<double>(i) / sensors);
      if (now) {
        std::this_thread::sleep_until(Clock::time_point(std::chrono::milliseconds(at)));
      }
      const std::string topic = "room/s" + std::to_string(sensor + 1);
      waiting.push_back(client.publish(mqtt::make_message(topic, payload(sensor, at), 1, false)));
      if (waiting.size() < kInFlight) continue;
      waiting.front()->wait();
      waiting.pop_front();
    }
    for (const auto& token : waiting) token->wait();
    client.disconnect()->wait();
  } catch (const mqtt::exception& fault) {
    std::fprintf(stderr, "%s\n", fault.what());
    return 1;
  }
  return 0;
}
