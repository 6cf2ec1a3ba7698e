// Outgoing against a real broker.
#include <algorithm>
#include <csignal>
#include <cstdlib>

#include <doctest/doctest.h>

#include "daemon/link/link.h"
#include "tests/daemon/link/broker.h"
#include "tests/daemon/link/link_probe.h"
#include "tests/daemon/link/raw_client.h"

namespace torpor::testing {
namespace {

using namespace std::chrono_literals;
using daemon::OutboxMessage;
using daemon::Outgoing;
using daemon::OutgoingSettings;

OutgoingSettings outgoing_settings(const std::string& uri) {
  OutgoingSettings settings;
  settings.access.uri = uri;
  settings.storeroom = "cellar";
  settings.gone = "{\"state\":\"gone\"}";
  settings.retry = kQuickly;
  return settings;
}

// The ids that were reported as delivered, in order.
class DeliveredIds {
 public:
  void add(const std::string& id) {
    const std::lock_guard lock(mutex_);
    ids_.push_back(id);
  }
  [[nodiscard]] std::vector<std::string> all() const {
    const std::lock_guard lock(mutex_);
    return ids_;
  }
  [[nodiscard]] bool wait_for(std::size_t count) const {
    return wait_until([&] { return all().size() >= count; });
  }

 private:
  mutable std::mutex mutex_;
  std::vector<std::string> ids_;
};

std::unique_ptr<Outgoing> start_outgoing(OutgoingSettings settings, DeliveredIds& delivered,
                                         States& states) {
  auto outgoing = Outgoing::start(
      std::move(settings),
      {[&delivered](const std::string& id) { delivered.add(id); },
       [&states](bool connected, const std::string& reason) { states.add(connected, reason); }});
  REQUIRE(outgoing.has_value());
  return std::move(*outgoing);
}

OutboxMessage notice(int number) {
  const std::string text = std::to_string(number);
  return {"n" + text, "torpor/cellar/notice", "line " + text, false, ""};
}

std::vector<std::string> payloads(const RawSubscriber& subscriber) {
  std::vector<std::string> result;
  for (const RawMessage& message : subscriber.messages()) result.push_back(message.payload);
  return result;
}

TEST_CASE("a message is heard whatever bytes its correlation data has") {
  Broker broker;
  RawSubscriber subscriber(broker, "t");
  raw_publish(
      broker,
      {.topic = "t", .payload = "said", .extra = {"-D", "publish", "correlation-data", "a\nb"}});
  REQUIRE(subscriber.wait_for(1));
  CHECK(subscriber.messages()[0].payload == "said");
  CHECK(subscriber.messages()[0].correlation == "a");
}

TEST_CASE("messages arrive in order with id and correlation data, and are reported delivered") {
  Broker broker;
  RawSubscriber hears(broker, "torpor/cellar/#");
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  outgoing->send(notice(1));
  outgoing->send({"a7", "torpor/cellar/answer", "done", false, "corr-1"});
  outgoing->send({"k3", "torpor/cellar/alert/3", "{}", true, ""});
  REQUIRE(hears.wait_for(3));
  const auto messages = hears.messages();
  CHECK(messages[0].payload == "line 1");
  CHECK(messages[0].notes == "id:n1");
  CHECK(messages[0].correlation.empty());
  CHECK(messages[1].topic == "torpor/cellar/answer");
  CHECK(messages[1].correlation == "corr-1");
  CHECK(messages[2].topic == "torpor/cellar/alert/3");
  REQUIRE(delivered.wait_for(3));
  CHECK(delivered.all() == std::vector<std::string>{"n1", "a7", "k3"});
  RawSubscriber later(broker, "torpor/cellar/#");
  REQUIRE(later.wait_for(1));
  CHECK(later.messages()[0].topic == "torpor/cellar/alert/3");
  CHECK(later.messages()[0].retained);
}

TEST_CASE("what nobody is subscribed to is delivered all the same") {
  // The broker's answer is reason code 0x10 then: no refusal.
  Broker broker;
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  outgoing->send(notice(1));
  CHECK(delivered.wait_for(1));
}

TEST_CASE("an empty retained message empties its topic") {
  Broker broker;
  raw_publish(broker, {"torpor/cellar/alert/9", "{}", 1, true});
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  outgoing->send({"x", "torpor/cellar/alert/9", "", true, ""});
  REQUIRE(delivered.wait_for(1));
  RawSubscriber later(broker, "torpor/cellar/#");
  raw_publish(broker, {"torpor/cellar/x", "marker"});
  REQUIRE(later.wait_for(1));
  CHECK(payloads(later) == std::vector<std::string>{"marker"});
}

TEST_CASE("while no broker is up messages wait in order and the newest state of a topic only") {
  Broker broker({}, false);
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  REQUIRE(states.wait_reason("no broker answers"));
  for (int i = 1; i <= 20; ++i) {
    outgoing->send(notice(i));
    outgoing->show("torpor/cellar/jar/B-07", "state " + std::to_string(i));
    outgoing->show("torpor/cellar/sensor/s1", "state " + std::to_string(i));
  }
  broker.start();
  REQUIRE(states.wait_connected());
  REQUIRE(delivered.wait_for(20));
  std::vector<std::string> expected;
  for (int i = 1; i <= 20; ++i) expected.push_back("n" + std::to_string(i));
  CHECK(delivered.all() == expected);
  REQUIRE(broker.wait_for_log("torpor/cellar/sensor/s1'"));
  RawSubscriber later(broker, "torpor/cellar/#");
  REQUIRE(later.wait_for(2));
  for (const RawMessage& message : later.messages()) {
    CHECK(message.retained);
    CHECK(message.payload == "state 20");
  }
  CHECK(broker.count_in_log("'torpor/cellar/jar/B-07'") == 2);  // once from us, once to `later`
}

TEST_CASE("across kills of the broker every message arrives at least once, first copies in order") {
  Broker broker;
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  REQUIRE(states.wait_connected());
  constexpr int kRounds = 3;
  constexpr int kEach = 200;
  std::vector<std::string> heard;
  int number = 0;
  for (int round = 0; round < kRounds; ++round) {
    // A subscriber of its own for each life of the broker: its copies are what was let through.
    auto hears = std::make_unique<RawSubscriber>(broker, "torpor/cellar/notice");
    const std::size_t before = delivered.all().size();
    for (int i = 0; i < kEach; ++i) outgoing->send(notice(++number));
    REQUIRE(delivered.wait_for(before + 20));
    broker.kill();
    for (const std::string& payload : payloads(*hears)) heard.push_back(payload);
    hears.reset();
    broker.start();
  }
  REQUIRE(delivered.wait_for(kRounds * kEach));
  std::vector<std::string> expected;
  for (int i = 1; i <= kRounds * kEach; ++i) expected.push_back("n" + std::to_string(i));
  CHECK((delivered.all() == expected));
  // What was heard before each kill is in order; a repeat can only be the one under way at a kill.
  std::vector<int> numbers;
  for (const std::string& payload : heard) numbers.push_back(std::stoi(payload.substr(5)));
  CHECK(std::is_sorted(numbers.begin(), numbers.end()));
  CHECK(heard.size() >= 60);
}

TEST_CASE("a topic the broker refuses does not hold up the others") {
  Broker broker({.access_list = "topic readwrite torpor/cellar/notice\ntopic read #\n"});
  RawSubscriber hears(broker, "torpor/cellar/#");
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  outgoing->send({"k1", "torpor/cellar/alert/1", "{}", true, ""});
  outgoing->show("torpor/cellar/jar/B-07", "{}");
  outgoing->send(notice(2));
  REQUIRE(delivered.wait_for(1));
  CHECK(delivered.all() == std::vector<std::string>{"n2"});
  REQUIRE(hears.wait_for(1));
  CHECK(hears.messages()[0].payload == "line 2");
}

TEST_CASE("finish publishes what waits and the last messages, and leaves without the will") {
  Broker broker;
  RawSubscriber hears(broker, "torpor/cellar/#");
  DeliveredIds delivered;
  States states;
  auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  for (int i = 1; i <= 50; ++i) outgoing->send(notice(i));
  outgoing->finish({{"last", "torpor/cellar/service", "said gone", true, ""}}, 10s);
  CHECK(delivered.all().size() == 51);
  outgoing->send(notice(99));
  outgoing.reset();
  raw_publish(broker, {"torpor/cellar/x", "marker"});
  REQUIRE(hears.wait_for(52));
  CHECK(payloads(hears)[50] == "said gone");
  CHECK(payloads(hears)[51] == "marker");
}

TEST_CASE("finish ends in time when no broker answers") {
  Broker broker({}, false);
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  outgoing->send(notice(1));
  REQUIRE(states.wait_reason("no broker answers"));
  const auto before = std::chrono::steady_clock::now();
  outgoing->finish({notice(2)}, 300ms);
  const auto took = std::chrono::steady_clock::now() - before;
  CHECK(took >= 300ms);
  CHECK(took < 5s);
  CHECK(delivered.all().empty());
}

TEST_CASE("without finish, and when finish ran out of time, the broker publishes the will") {
  Broker broker;
  DeliveredIds delivered;
  States states;
  RawSubscriber hears(broker, "torpor/cellar/service");
  SUBCASE("destroyed without finish") {
    auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
    REQUIRE(states.wait_connected());
    outgoing.reset();
  }
  SUBCASE("finish had no time") {
    auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
    REQUIRE(states.wait_connected());
    outgoing->finish({notice(1)}, 0ms);
  }
  REQUIRE(hears.wait_for(1));
  CHECK(hears.messages()[0].payload == "{\"state\":\"gone\"}");
  RawSubscriber later(broker, "torpor/cellar/service");
  REQUIRE(later.wait_for(1));
  CHECK(later.messages()[0].retained);
}

TEST_CASE("child: is there until it is killed" * doctest::skip()) {
  DeliveredIds delivered;
  States states;
  const auto outgoing =
      start_outgoing(outgoing_settings(std::getenv("TORPOR_TEST_BROKER")), delivered, states);
  outgoing->show("torpor/cellar/service", "{\"state\":\"running\"}");
  std::this_thread::sleep_for(1min);
}

TEST_CASE("killed, its will replaces the retained service state") {
  Broker broker;
  RawSubscriber hears(broker, "torpor/cellar/service");
  ChildProcess child({"/proc/self/exe", "--no-skip", "--test-case=child: is there until*"},
                     {{"TORPOR_TEST_BROKER", broker.uri()}});
  REQUIRE(hears.wait_for(1));
  CHECK(hears.messages()[0].payload == "{\"state\":\"running\"}");
  child.signal(SIGKILL);
  REQUIRE(hears.wait_for(2));
  CHECK(hears.messages()[1].payload == "{\"state\":\"gone\"}");
  RawSubscriber later(broker, "torpor/cellar/service");
  REQUIRE(later.wait_for(1));
  CHECK(later.messages()[0].payload == "{\"state\":\"gone\"}");
}

TEST_CASE("the retained topics of the storeroom are collected, and only those") {
  Broker broker;
  raw_publish(broker, {"torpor/cellar/alert/3", "{}", 1, true});
  raw_publish(broker, {"torpor/cellar/jar/B-07", "{}", 1, true});
  raw_publish(broker, {"torpor/cellar/notice", "not retained"});
  raw_publish(broker, {"torpor/barn/alert/4", "{}", 1, true});
  DeliveredIds delivered;
  States states;
  const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
  std::mutex mutex;
  std::vector<std::vector<std::string>> calls;
  outgoing->collect_retained(500ms, [&](std::vector<std::string> topics) {
    const std::lock_guard lock(mutex);
    calls.push_back(std::move(topics));
  });
  // Live messages during the collection are not retained ones.
  outgoing->send(notice(1));
  REQUIRE(wait_until([&] {
    const std::lock_guard lock(mutex);
    return !calls.empty();
  }));
  CHECK(calls.size() == 1);
  CHECK(calls[0] == std::vector<std::string>{"torpor/cellar/alert/3", "torpor/cellar/jar/B-07"});
  CHECK(broker.wait_for_log("Received DISCONNECT from torpor-cellar-sweep"));
}

TEST_CASE("a collection that never got to a broker ends with its owner") {
  Broker broker({}, false);
  DeliveredIds delivered;
  States states;
  bool called = false;
  {
    const auto outgoing = start_outgoing(outgoing_settings(broker.uri()), delivered, states);
    outgoing->collect_retained(1ms, [&](const std::vector<std::string>&) { called = true; });
    REQUIRE(states.wait_reason("no broker answers"));
  }
  CHECK_FALSE(called);
}

}  // namespace
}  // namespace torpor::testing
