// tell() against a real broker, with a service made of Intake and Outgoing that answers by rote.
#include "daemon/link/tell_client.h"

#include <set>

#include <doctest/doctest.h>

#include "tests/daemon/link/broker.h"
#include "tests/daemon/link/link_probe.h"
#include "tests/daemon/link/raw_client.h"

namespace torpor::testing {
namespace {

using namespace std::chrono_literals;
using daemon::ErrorKind;
using daemon::Taken;
using daemon::TellSettings;

TellSettings tell_settings(const std::string& uri) {
  TellSettings settings;
  settings.access.uri = uri;
  settings.storeroom = "cellar";
  settings.by = "Maria";
  return settings;
}

// Answers each tell from its second copy on if `deaf_to_first`, else at once.
class RoteService {
 public:
  RoteService(const std::string& uri, bool deaf_to_first) : deaf_to_first_(deaf_to_first) {
    daemon::OutgoingSettings out;
    out.access.uri = uri;
    out.storeroom = "cellar";
    outgoing_ = std::move(daemon::Outgoing::start(out, {}).value());
    daemon::IntakeSettings in;
    in.access.uri = uri;
    in.storeroom = "cellar";
    intake_ = std::move(
        daemon::Intake::start(
            in,
            {[this](const daemon::IncomingMessage& message) { return take(message); },
             [this](bool connected, const std::string& reason) { states_.add(connected, reason); }})
            .value());
    REQUIRE(states_.wait_connected());
  }

  [[nodiscard]] const HeardMessages& heard() const { return heard_; }

 private:
  Taken take(const daemon::IncomingMessage& message) {
    heard_.take(message);
    if (deaf_to_first_ && seen_.insert(message.correlation).second) return Taken::go_on;
    outgoing_->send({"a" + std::to_string(++number_), message.response_topic,
                     "understood from " + message.by + ": " + std::string(message.payload), false,
                     message.correlation});
    return Taken::go_on;
  }

  const bool deaf_to_first_;
  std::set<std::string> seen_;
  int number_ = 0;
  HeardMessages heard_;
  States states_;
  std::unique_ptr<daemon::Outgoing> outgoing_;
  std::unique_ptr<daemon::Intake> intake_;
};

TEST_CASE("a sentence is answered, and the answer is the one to it") {
  Broker broker;
  RoteService service(broker.uri(), false);
  const auto first = daemon::tell(tell_settings(broker.uri()), "ask B-07");
  const auto second = daemon::tell(tell_settings(broker.uri()), "B-07 all well");
  REQUIRE(first.has_value());
  REQUIRE(second.has_value());
  CHECK(*first == "understood from Maria: ask B-07");
  CHECK(*second == "understood from Maria: B-07 all well");
  const auto heard = service.heard().all();
  REQUIRE(heard.size() == 2);
  CHECK(heard[0].correlation.size() == 16);
  CHECK(heard[0].correlation != heard[1].correlation);
  CHECK(heard[0].response_topic != heard[1].response_topic);
  CHECK(heard[0].response_topic.starts_with("torpor/cellar/answer/"));
}

TEST_CASE("without an answer it is sent again with the same correlation data") {
  Broker broker;
  RoteService service(broker.uri(), true);
  TellSettings settings = tell_settings(broker.uri());
  settings.repeat_after = 300ms;
  const auto answer = daemon::tell(settings, "seen");
  REQUIRE(answer.has_value());
  CHECK(*answer == "understood from Maria: seen");
  const auto heard = service.heard().all();
  REQUIRE(heard.size() >= 2);
  CHECK(heard[0].correlation == heard[1].correlation);
}

TEST_CASE("no broker, no answer and no leave are told apart") {
  SUBCASE("no broker") {
    Broker broker({}, false);
    const auto answer = daemon::tell(tell_settings(broker.uri()), "seen");
    REQUIRE_FALSE(answer.has_value());
    CHECK(answer.error().kind == ErrorKind::not_reached);
    CHECK(answer.error().text == "no broker answers at 127.0.0.1:" + std::to_string(broker.port()) +
                                     "; is it running, and is the port right?");
  }
  SUBCASE("no answer") {
    Broker broker;
    RawSubscriber mute(broker, "torpor/cellar/tell");
    TellSettings settings = tell_settings(broker.uri());
    settings.patience = 8s;  // a loaded machine takes a while to say it at all
    const auto answer = daemon::tell(settings, "seen");
    REQUIRE_FALSE(answer.has_value());
    CHECK(answer.error().kind == ErrorKind::not_reached);
    CHECK(answer.error().text ==
          "no answer from the service within 8 s; is torpord running, and is 'cellar' its "
          "`storeroom`? The sentence may or may not have been carried out: look before you repeat "
          "it");
    CHECK(mute.wait_for(1));
  }
  SUBCASE("not allowed to tell") {
    Broker broker({.access_list = "topic read #\n"});
    const auto answer = daemon::tell(tell_settings(broker.uri()), "seen");
    REQUIRE_FALSE(answer.has_value());
    CHECK(answer.error().kind == ErrorKind::refused);
    CHECK(answer.error().text ==
          "the broker does not take the sentence on torpor/cellar/tell: not allowed by its access "
          "list; check its access list");
  }
  SUBCASE("wrong password") {
    Broker broker({.users = {{"maria", "right"}}});
    TellSettings settings = tell_settings(broker.uri());
    settings.access.user = "maria";
    settings.access.password = "wrong";
    const auto answer = daemon::tell(settings, "seen");
    REQUIRE_FALSE(answer.has_value());
    CHECK(answer.error().kind == ErrorKind::refused);
    CHECK(answer.error().text.find("refuses user 'maria'") != std::string::npos);
  }
}

TEST_CASE("a sentence that found the service away is not carried out after its author gave up") {
  Broker broker({.persistence = true});
  HeardMessages heard;
  States states;
  daemon::IntakeSettings in;
  in.access.uri = broker.uri();
  in.storeroom = "cellar";
  const daemon::IntakeHandlers handlers{
      [&heard](const daemon::IncomingMessage& message) { return heard.take(message); },
      [&states](bool connected, const std::string& reason) { states.add(connected, reason); }};
  auto intake = daemon::Intake::start(in, handlers);
  REQUIRE(states.wait_connected());
  intake->reset();
  TellSettings settings = tell_settings(broker.uri());
  settings.patience = 2500ms;
  CHECK_FALSE(daemon::tell(settings, "open B-07").has_value());
  raw_publish(broker, {"torpor/cellar/tell", "ask jars"});
  // The broker counts expiry in whole seconds.
  std::this_thread::sleep_for(2s);
  intake = daemon::Intake::start(in, handlers);
  REQUIRE(heard.wait_for(1));
  CHECK(heard.payloads() == std::vector<std::string>{"ask jars"});
}

}  // namespace
}  // namespace torpor::testing
