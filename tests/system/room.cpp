#include "tests/system/room.h"

#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <csignal>
#include <filesystem>
#include <fstream>

#include "daemon/history/store.h"
#include "daemon/service/storeroom.h"

namespace torpor::testing {

const char kWarmRule[] = R"(rules:
  warm-shelf:
    concerns: place
    when: temperature above 27 °C lasting 10 min
    until: temperature below 25 °C lasting 5 min
    urgency: today
    why: Warmth speeds every organism in the jars here.
    remedies: [shade, move]
)";

Room::Room(RoomOptions options) : broker_(options.broker, options.broker_runs) {
  write("torpor.yaml", fmt::format(R"(storeroom: cellar
zone: Europe/Vienna
clock: {}
history: {{file: history.sqlite3}}
broker: {{url: "{}"{}}}
places:
  cellar: {{holds: {{shelf-1: {{}}, shelf-2: {{}}}}}}
  outside: {{}}
sensors:
  - {{id: s1, place: cellar/shelf-1, topic: room/s1, payload: json, expected_interval: 1 min,
     measures: {{temperature: {{pointer: /t, unit: °C}}, humidity: {{pointer: /rh, unit: "%"}}}},
     time: {{pointer: /ts, format: seconds}}}}
  - {{id: s2, place: cellar/shelf-2, topic: "room/{{sensor}}/senml", payload: senml, expected_interval: 1 min}}
  - {{id: n1, place: outside, topic: room/n1, payload: number, expected_interval: 1 min,
     measures: {{temperature: {{unit: °F}}}}}}
rulebooks: [built-in{}]
)",
                                   options.clock, broker_.uri(),
                                   options.broker_keys.empty() ? "" : ", " + options.broker_keys,
                                   options.rules.empty() ? "" : ", rules.yaml"));
  if (!options.rules.empty()) write("rules.yaml", options.rules);
  environment_ = options.environment;
  if (options.unkind) {
    environment_.insert({{"LD_PRELOAD", UNKIND_WORLD}, {"TORPOR_WORLD", folder()}});
    if (options.unkind_to_commands) of_commands_ = environment_;
  }
}

bool Room::can_be_unkind() {
  if (!std::string_view(UNKIND_WORLD).empty()) return true;
  MESSAGE("skipped: a sanitizer leaves no room for a preloaded library");
  return false;
}

void Room::make_read_only(bool read_only) const { turn("read-only", read_only); }

void Room::make_stuck(bool stuck) const { turn("stuck", stuck); }

void Room::turn(const std::string& name, bool on) const {
  if (on) {
    write(name, "");
  } else {
    std::filesystem::remove(folder() + "/" + name);
  }
}

void Room::set_clock_wrong(std::chrono::seconds by) const {
  wrong_ = by;
  set_number("clock", (passed_ + wrong_).count());
}

void Room::start_board_anew() {
  uptime_ = std::chrono::seconds(-1'000'000);
  set_number("uptime", uptime_.count());
}

void Room::set_time_server(bool keeps_the_clock) const {
  set_number("server", keeps_the_clock ? 1 : 0);
}

void Room::pass(std::chrono::seconds time) {
  passed_ += time;
  uptime_ += time;
  set_number("uptime", uptime_.count());
  set_clock_wrong(wrong_);
}

void Room::set_number(const std::string& name, long number) const {
  // Renamed into place: never read half written.
  write(name + ".new", fmt::format("{}", number));
  std::filesystem::rename(folder() + "/" + name + ".new", folder() + "/" + name);
}

void Room::write(const std::string& name, const std::string& text) const {
  std::ofstream(folder() + "/" + name, std::ios::binary) << text;
}

void Room::start_unconnected() {
  service_ = std::make_unique<ChildProcess>(
      std::vector<std::string>{TORPORD_BINARY, "--config", config_file()}, environment_);
}

void Room::start() {
  start_unconnected();
  REQUIRE(service_says("taking readings from the broker"));
}

bool Room::service_says(const std::string& text, std::size_t times) {
  return service_->wait_for_lines(
      times, [&text](const std::string& line) { return line.find(text) != std::string::npos; });
}

Ending Room::stop() {
  service_->signal(SIGTERM);
  const auto ending = service_->wait();
  REQUIRE(ending);
  return *ending;
}

void Room::kill() {
  service_->signal(SIGKILL);
  REQUIRE(service_->wait());
}

CommandResult Room::torpor(std::vector<std::string> arguments) const {
  arguments.insert(arguments.begin(), {TORPOR_BINARY, "--config", config_file()});
  ChildProcess command(arguments, of_commands_);
  const auto ending = command.wait();
  REQUIRE(ending);
  CommandResult result;
  result.code = ending->code.value_or(-1);
  for (const std::string& line : command.lines()) result.output += line + "\n";
  return result;
}

nlohmann::json Room::torpor_json(std::vector<std::string> arguments) const {
  arguments.emplace_back("--json");
  const CommandResult result = torpor(std::move(arguments));
  CAPTURE(result.output);
  REQUIRE(result.code == 0);
  return nlohmann::json::parse(result.output);
}

std::vector<Reading> Room::readings() const {
  auto reader = daemon::Reader::open(history_file(), daemon::spool_folder(history_file()));
  if (!reader) return {};
  std::vector<Reading> all;
  for (const std::string& sensor : (*reader)->known_sensors()) {
    for (const QuantityFacts& quantity : quantities()) {
      auto cursor = (*reader)->readings(sensor, quantity.quantity, instant_of(0), Instant::max());
      while (auto reading = cursor->next()) all.push_back(*reading);
    }
  }
  return all;
}

std::string Room::json_line(Instant at, double celsius, double percent) {
  return fmt::format(R"({{"t":{},"rh":{},"ts":{}}})", celsius, percent, unix_ms(at) / 1000);
}

void Room::say_json(Instant at, double celsius, double percent) const {
  raw_publish(broker_, {"room/s1", json_line(at, celsius, percent)});
}

void Room::say_senml(Instant at, double celsius, double percent) const {
  raw_publish(broker_,
              {"room/s2/senml", fmt::format(R"([{{"bt":{},"bn":"s2:","n":"t","u":"Cel","v":{}}},)"
                                            R"({{"n":"rh","u":"%RH","v":{}}}])",
                                            unix_ms(at) / 1000, celsius, percent)});
}

void Room::say_number(double fahrenheit) const {
  raw_publish(broker_, {"room/n1", fmt::format("{}", fahrenheit)});
}

std::size_t said(const RawSubscriber& notices, const std::string& text) {
  const auto messages = notices.messages();
  return static_cast<std::size_t>(std::ranges::count_if(messages, [&text](const RawMessage& m) {
    return m.payload.find(text) != std::string::npos;
  }));
}

}  // namespace torpor::testing
