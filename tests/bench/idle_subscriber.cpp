// A client of the MQTT library that does nothing: the ceiling for whoever takes messages through
// it.
//
//   torpor_idle_subscriber PORT TOPIC COUNT     ends with the COUNTth message of its session
//   torpor_idle_subscriber PORT TOPIC 0         makes the session and leaves
#include <mqtt/async_client.h>

#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <thread>

int main(int argc, char** argv) {
  if (argc != 4) {
    std::fprintf(stderr, "torpor_idle_subscriber PORT TOPIC COUNT\n");
    return 2;
  }
  const std::size_t wanted = std::strtoul(argv[3], nullptr, 10);
  std::atomic<std::size_t> count{0};
  try {
    mqtt::async_client client(std::string("tcp://127.0.0.1:") + argv[1], "idle",
                              mqtt::create_options(MQTTVERSION_5));
    mqtt::connect_options options;
    options.set_mqtt_version(MQTTVERSION_5);
    options.set_clean_start(false);
    options.set_properties(
        {{mqtt::property::SESSION_EXPIRY_INTERVAL, 3600}, {mqtt::property::RECEIVE_MAXIMUM, 20}});
    client.set_message_callback([&count](const mqtt::const_message_ptr&) { ++count; });
    client.connect(options)->wait();
    client.subscribe(argv[2], 1)->wait();
    while (count < wanted) std::this_thread::sleep_for(std::chrono::milliseconds(1));
    client.disconnect()->wait();
  } catch (const mqtt::exception& fault) {
    std::fprintf(stderr, "%s\n", fault.what());
    return 1;
  }
  return 0;
}
