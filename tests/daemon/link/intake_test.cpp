// Intake against a real broker. Clients that share no code with it stand on the other side.
#include <algorithm>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <future>
#include <mutex>
#include <set>
#include <stdexcept>

#include <doctest/doctest.h>

#include "daemon/link/link.h"
#include "tests/daemon/link/broker.h"
#include "tests/daemon/link/link_probe.h"
#include "tests/daemon/link/raw_client.h"
#include "tests/daemon/link/scripted_broker.h"

namespace torpor::testing {
namespace {

using namespace std::chrono_literals;
using daemon::Intake;
using daemon::IntakeHandlers;
using daemon::IntakeSettings;
using daemon::Taken;

IntakeSettings intake_settings(const std::string& uri) {
  IntakeSettings settings;
  settings.access.uri = uri;
  settings.storeroom = "cellar";
  settings.topics = {"cellar/s1", "cellar/+/senml"};
  settings.retry = kQuickly;
  return settings;
}

IntakeHandlers handlers_for(HeardMessages& heard, States& states) {
  return {[&heard](const daemon::IncomingMessage& message) { return heard.take(message); },
          [&states](bool connected, const std::string& reason) { states.add(connected, reason); }};
}

std::unique_ptr<Intake> start_intake(IntakeSettings settings, HeardMessages& heard,
                                     States& states) {
  auto intake = Intake::start(std::move(settings), handlers_for(heard, states));
  REQUIRE(intake.has_value());
  return std::move(*intake);
}

// What the link said of disturbances, in order.
class Disturbances {
 public:
  void add(daemon::Disturbance what) {
    const std::lock_guard lock(mutex_);
    all_.push_back(what);
  }
  [[nodiscard]] bool wait_for(daemon::Disturbance what) const {
    return wait_until([&] {
      const std::lock_guard lock(mutex_);
      return std::find(all_.begin(), all_.end(), what) != all_.end();
    });
  }

 private:
  mutable std::mutex mutex_;
  std::vector<daemon::Disturbance> all_;
};

// Connects in the intake's place and leaves. With a clean start that wipes its session.
void push_off(const Broker& broker, bool wipe) {
  RawPublication word{"nowhere", "x"};
  if (!wipe) word.extra = {"-c"};
  raw_publish(broker, word, {"", "", 0, "torpor-cellar-intake"});
}

std::vector<std::string> numbered(int from, int to) {
  std::vector<std::string> lines;
  for (int i = from; i <= to; ++i) lines.push_back("m" + std::to_string(i));
  return lines;
}

TEST_CASE("readings and tells arrive from the topics that were asked for, and no others") {
  Broker broker;
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  CHECK(states.all() == std::vector<std::pair<bool, std::string>>{{true, ""}});

  raw_publish(broker, {"cellar/s9", "not asked for"});
  raw_publish(broker, {"cellar/s1", "{\"t\": 21.5}"});
  raw_publish(broker, {"cellar/s2/senml", "[]"});
  raw_publish(broker, {"torpor/cellar/tell", "ask B-07"});
  REQUIRE(heard.wait_for(3));
  const auto messages = heard.all();
  REQUIRE(messages.size() == 3);
  CHECK(messages[0].topic == "cellar/s1");
  CHECK(messages[0].payload == "{\"t\": 21.5}");
  CHECK(messages[1].topic == "cellar/s2/senml");
  CHECK(messages[2].topic == "torpor/cellar/tell");
  CHECK_FALSE(messages[0].redelivered);
  CHECK_FALSE(messages[0].retained);
}

TEST_CASE("response topic, correlation data and the user property by are passed on") {
  Broker broker;
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  raw_publish(broker, {"torpor/cellar/tell",
                       "seen",
                       1,
                       false,
                       {"-D", "publish", "response-topic", "torpor/cellar/answer/7", "-D",
                        "publish", "correlation-data", "abc123", "-D", "publish", "user-property",
                        "colour", "blue", "-D", "publish", "user-property", "by", "Maria"}});
  raw_publish(broker, {"torpor/cellar/tell", "seen"});
  REQUIRE(heard.wait_for(2));
  const auto messages = heard.all();
  CHECK(messages[0].response_topic == "torpor/cellar/answer/7");
  CHECK(messages[0].correlation == "abc123");
  CHECK(messages[0].by == "Maria");
  CHECK(messages[1].response_topic.empty());
  CHECK(messages[1].correlation.empty());
  CHECK(messages[1].by.empty());
}

TEST_CASE("an empty payload, one that is not UTF-8 and one of 1 MB reach the handler whole") {
  Broker broker;
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  std::string big(1024 * 1024, 'x');
  for (std::size_t i = 0; i < big.size(); ++i) big[i] = static_cast<char>(i * 31 % 251);
  raw_publish(broker, {"cellar/s1", ""});
  raw_publish(broker, {"cellar/s1", std::string("\xFF\x00\xFE", 3)});
  raw_publish(broker, {"cellar/s1", big});
  raw_publish(broker, {"cellar/s1", "after"});
  REQUIRE(heard.wait_for(4));
  CHECK(heard.payloads()[0].empty());
  CHECK(heard.payloads()[1] == std::string("\xFF\x00\xFE", 3));
  CHECK((heard.payloads()[2] == big));
  CHECK(heard.payloads()[3] == "after");
}

TEST_CASE(
    "a message stored before the subscription is not sent, a live one marked retain is live") {
  Broker broker;
  raw_publish(broker, {"cellar/s1", "old", 1, true});
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  raw_publish(broker, {"cellar/s1", "new", 1, true});
  REQUIRE(heard.wait_for(1));
  CHECK(heard.payloads() == std::vector<std::string>{"new"});
  CHECK_FALSE(heard.all()[0].retained);
}

TEST_CASE("it starts while no broker is up, says so once, and connects when one comes") {
  Broker broker({}, false);
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_reason("no broker answers at 127.0.0.1:" + std::to_string(broker.port()) +
                             "; is it running, and is the port right?"));
  broker.start();
  REQUIRE(states.wait_connected());
  // Not one report for each try. A broker that is only just coming up may have one of its own.
  CHECK_MESSAGE(states.all().size() <= 3, states.text());
  const std::string told = states.text();
  const auto first = told.find("no broker answers");
  CHECK(first != std::string::npos);
  CHECK(told.find("no broker answers", first + 1) == std::string::npos);
  raw_publish(broker, {"cellar/s1", "21.5"});
  CHECK(heard.wait_for(1));
}

TEST_CASE("after a restart of a broker without persistence it subscribes anew") {
  Broker broker;
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  broker.kill();
  REQUIRE(states.wait_reason("was lost"));
  broker.start();
  REQUIRE(states.wait_connected(2));
  raw_publish(broker, {"cellar/s1", "again"});
  REQUIRE(heard.wait_for(1));
  CHECK(heard.payloads()[0] == "again");
}

TEST_CASE("what is published while it is away waits in its session") {
  Broker broker;
  HeardMessages first;
  HeardMessages second;
  States states;
  {
    const auto intake = start_intake(intake_settings(broker.uri()), first, states);
    REQUIRE(states.wait_connected());
  }
  raw_publish_lines(broker, "cellar/s1", numbered(1, 50));
  const auto intake = start_intake(intake_settings(broker.uri()), second, states);
  REQUIRE(second.wait_for(50));
  CHECK(second.payloads() == numbered(1, 50));
  CHECK(first.all().empty());
}

TEST_CASE("a wrong password is named, tried again, and taken once it is right") {
  Broker broker({.users = {{"torpord", "right"}, {"sensor", "s"}}});
  HeardMessages heard;
  States states;
  IntakeSettings settings = intake_settings(broker.uri());
  settings.access.user = "torpord";
  settings.access.password = "changed";
  const auto intake = start_intake(settings, heard, states);
  REQUIRE_MESSAGE(
      states.wait_reason("refuses user 'torpord'; check broker.user, the password in "
                         "broker.secret, and that the broker has read its password file"),
      states.text());
  broker.set_password("torpord", "changed");
  REQUIRE(states.wait_connected());
  raw_publish(broker, {"cellar/s1", "21.5"}, {"sensor", "s"});
  CHECK(heard.wait_for(1));
}

TEST_CASE("a broker that wants a password from a client without one is named") {
  Broker broker({.users = {{"torpord", "right"}}});
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  CHECK_MESSAGE(states.wait_reason("wants a user and password; set broker.user and broker.secret"),
                states.text());
}

TEST_CASE("the reason changes when the fault changes") {
  Broker broker({.users = {{"torpord", "right"}}}, false);
  HeardMessages heard;
  States states;
  IntakeSettings settings = intake_settings(broker.uri());
  settings.access.user = "torpord";
  settings.access.password = "wrong";
  const auto intake = start_intake(settings, heard, states);
  REQUIRE(states.wait_reason("no broker answers"));
  broker.start();
  CHECK_MESSAGE(states.wait_reason("refuses user 'torpord'"), states.text());
}

TEST_CASE("a topic the broker will not send is named, though it is connected") {
  // Mosquitto 2.0.11 grants every subscription and filters later; other brokers answer so.
  ScriptedBroker broker({.suback = 0x87, .subscriptions = 3});
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  CHECK(states.all()[0].second ==
        "the broker at 127.0.0.1:" + std::to_string(broker.port()) +
            " refuses to send 'cellar/s1' (not allowed by its access list), 'cellar/+/senml' (not "
            "allowed by its access list), 'torpor/cellar/tell' (not allowed by its access list); "
            "check its access list");
}

TEST_CASE("the retained flag of a message is passed on") {
  ScriptedBroker broker(
      {.after_subscribe = ScriptedBroker::publish_packet("cellar/s1", "stored", true) +
                          ScriptedBroker::publish_packet("cellar/s1", "live", false),
       .subscriptions = 3});
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(heard.wait_for(2));
  CHECK(heard.payloads() == std::vector<std::string>{"stored", "live"});
  CHECK(heard.all()[0].retained);
  CHECK_FALSE(heard.all()[1].retained);
}

TEST_CASE("the broker's reason for hanging up is passed on") {
  ScriptedBroker broker(
      {.after_subscribe = ScriptedBroker::disconnect_packet(0x8E), .subscriptions = 3});
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  CHECK_MESSAGE(states.wait_reason("another program connected with our client id; is a second "
                                   "torpord running with the same `storeroom`?"),
                states.text());
}

TEST_CASE("the broker's reason for not taking us is passed on, and changes with it") {
  ScriptedBroker broker({.connack = 0x89});
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE_MESSAGE(states.wait_reason("it says it is busy; look at the load of its machine"),
                  states.text());
  broker.change({.connack = 0x84});
  CHECK_MESSAGE(states.wait_reason("it does not speak MQTT 5"), states.text());
}

TEST_CASE("two programs with the same storeroom find out") {
  Broker broker;
  HeardMessages heard;
  States first;
  States second;
  const auto one = start_intake(intake_settings(broker.uri()), heard, first);
  REQUIRE(first.wait_connected());
  const auto other = start_intake(intake_settings(broker.uri()), heard, second);
  CHECK_MESSAGE(first.wait_reason("is lost again and again though the broker is there; is a second "
                                  "torpord running with the same `storeroom`?"),
                first.text());
}

TEST_CASE("when its session was wiped it says so, and hears what the broker kept meanwhile") {
  Broker broker;
  HeardMessages heard;
  States states;
  Disturbances disturbances;
  IntakeHandlers handlers = handlers_for(heard, states);
  handlers.disturbed = [&](daemon::Disturbance what) { disturbances.add(what); };
  IntakeSettings settings = intake_settings(broker.uri());
  settings.retry = {1s, 1s};  // time to publish while it is away
  const auto intake = Intake::start(settings, handlers).value();
  REQUIRE(states.wait_connected());
  push_off(broker, true);
  REQUIRE(states.wait_reason("was lost"));
  raw_publish(broker, {"cellar/s1", "kept", 1, true});
  raw_publish(broker, {"cellar/s1/senml", "lost"});
  REQUIRE(heard.wait_for(1));
  CHECK(heard.all()[0].payload == "kept");
  CHECK(heard.all()[0].retained);
  CHECK(disturbances.wait_for(daemon::Disturbance::session_lost));
}

TEST_CASE("pushed off three times within a minute it goes on under an id that nobody knows") {
  Broker broker;
  HeardMessages heard;
  States states;
  Disturbances disturbances;
  IntakeHandlers handlers = handlers_for(heard, states);
  handlers.disturbed = [&](daemon::Disturbance what) { disturbances.add(what); };
  {
    const auto intake = Intake::start(intake_settings(broker.uri()), handlers).value();
    for (std::size_t i = 1; i <= 3; ++i) {
      REQUIRE(states.wait_connected(i));
      push_off(broker, false);
    }
    REQUIRE(states.wait_connected(4));
    CHECK(disturbances.wait_for(daemon::Disturbance::taken_over));
    CHECK(broker.count_in_log(" as torpor-cellar-intake-") == 1);
    // Its old session, which goes on without it, is ended.
    REQUIRE(broker.wait_for_log("Received DISCONNECT from torpor-cellar-intake\n", 4));
    push_off(broker, false);  // whom it does not disturb any more
    raw_publish(broker, {"cellar/s1", "heard"});
    REQUIRE(heard.wait_for(1));
    CHECK(states.connections() == 4);
  }
  // Back under its own id it does not hear a second time what it has heard.
  States again;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, again);
  REQUIRE(again.wait_connected());
  raw_publish(broker, {"cellar/s1", "new"});
  REQUIRE(heard.wait_for(2));
  CHECK(heard.payloads() == std::vector<std::string>{"heard", "new"});
}

TEST_CASE("a broker that says who pushed us off is believed at once") {
  ScriptedBroker broker(
      {.after_subscribe = ScriptedBroker::disconnect_packet(0x8E), .subscriptions = 3});
  HeardMessages heard;
  States states;
  Disturbances disturbances;
  IntakeHandlers handlers = handlers_for(heard, states);
  handlers.disturbed = [&](daemon::Disturbance what) { disturbances.add(what); };
  const auto intake = Intake::start(intake_settings(broker.uri()), handlers).value();
  CHECK(disturbances.wait_for(daemon::Disturbance::taken_over));
  CHECK(states.connections() <= 1);
}

TEST_CASE("the acknowledgement goes out when the handler returns, not before") {
  Broker broker;
  std::promise<void> entered;
  std::promise<void> leave;
  auto may_leave = leave.get_future().share();
  States states;
  const auto intake = Intake::start(
      intake_settings(broker.uri()),
      {[&entered, may_leave](const daemon::IncomingMessage&) {
         entered.set_value();
         may_leave.wait();
         return Taken::go_on;
       },
       [&states](bool connected, const std::string& reason) { states.add(connected, reason); }});
  REQUIRE(intake.has_value());
  REQUIRE(states.wait_connected());
  raw_publish(broker, {"cellar/s1", "21.5"});
  REQUIRE(entered.get_future().wait_for(kPatience) == std::future_status::ready);
  // A round trip of another client: the broker has had time to read an acknowledgement, had there
  // been one.
  raw_publish(broker, {"cellar/s9", "marker"});
  CHECK(broker.count_in_log("Received PUBACK from torpor-cellar-intake") == 0);
  leave.set_value();
  CHECK(broker.wait_for_log("Received PUBACK from torpor-cellar-intake"));
}

TEST_CASE("after Taken::stop the session queues, and after resume nothing is missing") {
  Broker broker({.extra = {"max_queued_messages 0"}});
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  heard.answer_with(Taken::stop);
  raw_publish_lines(broker, "cellar/s1", numbered(1, 500));
  REQUIRE(states.wait_reason("torpor stopped taking messages because it cannot keep them"));
  const std::size_t before = heard.all().size();
  MESSAGE("messages handed over after the first stop: ", before - 1);
  raw_publish_lines(broker, "cellar/s1", numbered(501, 600));
  CHECK(heard.all().size() == before);
  heard.answer_with(Taken::go_on);
  intake->resume();
  REQUIRE(states.wait_connected(2));
  std::set<std::string> distinct;
  CHECK(wait_until([&] {
    for (const std::string& payload : heard.payloads()) distinct.insert(payload);
    return distinct.size() == 600;
  }));
}

TEST_CASE("resume directly after stop does not leave it stopped") {
  Broker broker;
  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  REQUIRE(states.wait_connected());
  for (int i = 1; i <= 5; ++i) {
    heard.answer_with(Taken::stop);
    raw_publish(broker, {"cellar/s1", std::to_string(i)});
    REQUIRE(heard.wait_for(static_cast<std::size_t>(i)));
    heard.answer_with(Taken::go_on);
    intake->resume();
  }
  raw_publish(broker, {"cellar/s1", "last"});
  CHECK(heard.wait_for(6));
}

TEST_CASE("its end is clean: no will, and the session stays") {
  Broker broker;
  RawSubscriber notices(broker, "torpor/cellar/notice");
  HeardMessages heard;
  States states;
  IntakeSettings settings = intake_settings(broker.uri());
  settings.will_delay = 0s;
  {
    const auto intake = start_intake(settings, heard, states);
    REQUIRE(states.wait_connected());
  }
  raw_publish(broker, {"torpor/cellar/notice", "marker"});
  REQUIRE(notices.wait_for(1));
  CHECK(notices.messages()[0].payload == "marker");
  CHECK(broker.wait_for_log("Received DISCONNECT from torpor-cellar-intake"));
}

// The two child parts below are run by the test after them as processes of their own.
std::unique_ptr<ChildProcess> run_as_child(const std::string& part, const std::string& uri) {
  return std::make_unique<ChildProcess>(
      std::vector<std::string>{"/proc/self/exe", "--no-skip", "--test-case=child: " + part},
      std::map<std::string, std::string>{{"TORPOR_TEST_BROKER", uri}});
}

std::string broker_of_child() {
  const char* uri = std::getenv("TORPOR_TEST_BROKER");
  REQUIRE(uri != nullptr);
  return uri;
}

TEST_CASE("child: dies in its third message" * doctest::skip()) {
  int count = 0;
  const auto intake =
      Intake::start(intake_settings(broker_of_child()),
                    {[&count](const daemon::IncomingMessage& message) {
                       std::printf("heard %.*s\n", static_cast<int>(message.payload.size()),
                                   message.payload.data());
                       std::fflush(stdout);
                       if (++count == 3) ::raise(SIGKILL);
                       return Taken::go_on;
                     },
                     nullptr});
  std::this_thread::sleep_for(1min);  // ended by the signal
}

TEST_CASE("child: throws in its message handler" * doctest::skip()) {
  const auto intake =
      Intake::start(intake_settings(broker_of_child()),
                    {[](const daemon::IncomingMessage& message) -> Taken {
                       std::printf("heard %.*s\n", static_cast<int>(message.payload.size()),
                                   message.payload.data());
                       std::fflush(stdout);
                       throw std::runtime_error("no room");
                     },
                     nullptr});
  std::this_thread::sleep_for(1min);  // ended by the link
}

TEST_CASE("child: hears until it is killed" * doctest::skip()) {
  auto settings = intake_settings(broker_of_child());
  settings.will_delay = 1s;
  const auto intake = Intake::start(
      settings, {[](const daemon::IncomingMessage&) { return Taken::go_on; }, nullptr});
  std::this_thread::sleep_for(1min);
}

TEST_CASE("a message is acknowledged when its handler returns: killed in it, it comes again") {
  Broker broker;
  {
    // Makes the session, so that nothing is missed between start and subscription.
    HeardMessages nothing;
    States states;
    const auto intake = start_intake(intake_settings(broker.uri()), nothing, states);
    REQUIRE(states.wait_connected());
  }
  raw_publish_lines(broker, "cellar/s1", numbered(1, 6));
  const auto child = run_as_child("dies in its third message", broker.uri());
  const auto ending = child->wait();
  REQUIRE(ending.has_value());
  REQUIRE(ending->signal == SIGKILL);
  REQUIRE(child->wait_for_lines(1, [](const std::string& line) { return line == "heard m3"; }));

  HeardMessages heard;
  States states;
  const auto intake = start_intake(intake_settings(broker.uri()), heard, states);
  // m1 and m2 were acknowledged, but the reset of a killed process's connection can overtake its
  // acknowledgements, so they may come again; m3 and all after it must.
  REQUIRE(wait_until([&] { return !heard.all().empty() && heard.payloads().back() == "m6"; }));
  const auto payloads = heard.payloads();
  REQUIRE(payloads.size() >= 4);
  CHECK(std::vector<std::string>(payloads.end() - 4, payloads.end()) == numbered(3, 6));
  for (const HeardMessage& message : heard.all()) CHECK(message.redelivered);
}

TEST_CASE("a handler that throws ends the process, and its message comes again, once") {
  Broker broker;
  {
    HeardMessages nothing;
    States states;
    const auto intake = start_intake(intake_settings(broker.uri()), nothing, states);
    REQUIRE(states.wait_connected());
  }
  raw_publish_lines(broker, "cellar/s1", {"poison"});
  const auto child = run_as_child("throws in its message handler", broker.uri());
  const auto ending = child->wait();
  REQUIRE(ending.has_value());
  CHECK(ending->code == 70);
  CHECK(child->wait_for_lines(1, [](const std::string& line) {
    return line.find("a message on 'cellar/s1' could not be kept: no room") != std::string::npos;
  }));
  // The redelivery is dropped, so that the next process gets past it.
  const auto next = run_as_child("throws in its message handler", broker.uri());
  REQUIRE(next->wait_for_lines(1, [](const std::string& line) {
    return line.find("it was a redelivery, so it is dropped now") != std::string::npos;
  }));
  CHECK_FALSE(next->wait(0ms).has_value());
}

TEST_CASE("killed, its will comes as one line on notice after the delay") {
  Broker broker;
  RawSubscriber notices(broker, "torpor/cellar/notice");
  const auto child = run_as_child("hears until it is killed", broker.uri());
  REQUIRE(broker.wait_for_log("Sending SUBACK to torpor-cellar-intake", 3));
  child->signal(SIGKILL);
  REQUIRE(notices.wait_for(1));
  CHECK(notices.messages()[0].payload ==
        "Now: torpor in cellar stopped listening to its sensors; look at the board and its power.");
  CHECK_FALSE(notices.messages()[0].retained);
}

TEST_CASE("settings that cannot work are refused at the start") {
  HeardMessages heard;
  States states;
  IntakeSettings settings = intake_settings("http://127.0.0.1");
  auto intake = Intake::start(settings, handlers_for(heard, states));
  REQUIRE_FALSE(intake.has_value());
  CHECK(intake.error().kind == daemon::ErrorKind::invalid);
  settings = intake_settings("mqtts://127.0.0.1");
  settings.access.authority = "/nonexistent/authority.pem";
  intake = Intake::start(settings, handlers_for(heard, states));
  REQUIRE_FALSE(intake.has_value());
  CHECK(intake.error().kind == daemon::ErrorKind::not_found);
  CHECK(intake.error().text ==
        "the file '/nonexistent/authority.pem' named in broker.tls is not there or cannot be read");
}

}  // namespace
}  // namespace torpor::testing
