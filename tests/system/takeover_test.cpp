// Somebody with a password connects to the broker in torpor's place, again and again.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <atomic>
#include <cstdlib>
#include <stdexcept>
#include <thread>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

// Connects under the ids with a clean start, which wipes the session, says one message and leaves;
// then once more. mosquitto_pub shares no code with torpor.
class Usurper {
 public:
  Usurper(const Broker& broker, std::vector<std::string> ids, std::chrono::milliseconds pause)
      : thread_([this, &broker, ids = std::move(ids), pause] {
          while (!stopping_) {
            for (const std::string& id : ids) {
              try {
                raw_publish(broker, {"nowhere", "x"}, {"", "", 0, id});
              } catch (const std::runtime_error&) {
                // Pushed off in its turn before its message was taken.
              }
            }
            (void)wait_until([this] { return stopping_.load(); }, pause);
          }
        }) {}
  ~Usurper() {
    stopping_ = true;
    thread_.join();
  }
  Usurper(const Usurper&) = delete;
  Usurper& operator=(const Usurper&) = delete;

 private:
  std::atomic<bool> stopping_{false};
  std::thread thread_;
};

bool heard(const RawSubscriber& phone, const std::string& text) {
  for (const RawMessage& message : phone.messages()) {
    if (message.payload.find(text) != std::string::npos) return true;
  }
  return false;
}

// How many of 40.00, 40.01, ... are in the history.
int hot_readings(const Room& room) {
  int count = 0;
  for (const Reading& reading : room.readings()) {
    count += reading.quantity == Quantity::temperature && reading.raw >= 40.0 ? 1 : 0;
  }
  return count;
}

void be_taken_over(const std::vector<std::string>& ids) {
  Room room;
  room.start();
  RawSubscriber phone(room.broker(), "torpor/cellar/notice");
  const auto began = std::chrono::steady_clock::now();
  {
    const Usurper usurper(room.broker(), ids, std::chrono::milliseconds(20));
    // Said into the fight, once, and kept by the broker: it is asked for again.
    raw_publish(room.broker(), {"room/s1", Room::json_line(kFirst, 40.0, 60), 1, true});
    CHECK_MESSAGE(wait_until([&] { return heard(phone, "who connects as torpor-cellar-"); },
                             std::chrono::seconds(60)),
                  room.broker().log());
    MESSAGE("the phone heard of it after "
            << std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count()
            << " s");
    REQUIRE(room.service_says("torpor goes on as torpor-cellar-intake-"));
    REQUIRE(room.broker().wait_for_log("Sending SUBACK to torpor-cellar-intake-"));
    CHECK(wait_until([&] { return hot_readings(room) == 1; }));
    // Under its new name it hears everything, while the other goes on.
    for (int i = 1; i <= 30; ++i) {
      room.say_json(kFirst + std::chrono::minutes(i), 40.0 + 0.01 * i, 60);
    }
    CHECK(wait_until([&] { return hot_readings(room) == 31; }));
  }
  CHECK(heard(phone, "Now: cellar: find out in the broker's log who connects as torpor-cellar-"));
  CHECK(room.stop().code == 0);
}

}  // namespace

TEST_CASE("a sensor that keeps taking the intake's place is told, and silences nobody") {
  be_taken_over({"torpor-cellar-intake"});
}

TEST_CASE("whoever takes both of torpor's places silences nobody either") {
  const char* is_long = std::getenv("TORPOR_LONG");
  if (is_long == nullptr || std::string(is_long) != "1") {
    MESSAGE("skipped: TORPOR_LONG is not 1");
    return;
  }
  be_taken_over({"torpor-cellar-intake", "torpor-cellar-outgoing"});
}

TEST_CASE("a broker that restarts is not taken for somebody in torpor's place") {
  Room room;
  room.start();
  RawSubscriber service(room.broker(), "torpor/cellar/service");
  room.broker().restart();
  REQUIRE(room.service_says("taking readings from the broker", 2));
  room.say_json(kFirst, 40, 60);
  REQUIRE(wait_until([&] { return hot_readings(room) == 1; }));
  const Ending ending = room.stop();
  CHECK(ending.code == 0);
  for (const std::string& line : room.service().lines()) {
    CHECK(line.find("another program connects") == std::string::npos);
  }
}
