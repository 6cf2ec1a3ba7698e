// How many messages a second come through a real broker, and what keeping them costs: a bare client
// of the MQTT library whose callback does nothing, beside our intake that decodes each message and
// appends it to the inbox before it acknowledges. Both drain the same number of QoS 1 messages that
// wait in their sessions, so no publisher is in the way. Runs alternate; quote the ratio of one
// run.
//
//   torpor_link_bench [MESSAGES] [FOLDER]        FOLDER: on the disk that matters
#include <fmt/format.h>
#include <mqtt/async_client.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdlib>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "daemon/history/inbox.h"
#include "daemon/link/link.h"
#include "sensors/payload.h"
#include "tests/daemon/link/broker.h"
#include "tests/daemon/link/link_probe.h"
#include "tests/daemon/link/raw_client.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::testing {
namespace {

using Clock = std::chrono::steady_clock;
constexpr int kRuns = 5;
constexpr const char* kTopic = "cellar/s1";
// Publishing 20,000 lines through mosquitto_pub takes seconds; a broken run must not hang.
constexpr std::chrono::minutes kRunPatience{2};

[[noreturn]] void give_up(const std::string& why) {
  fmt::print(stderr, "{}\n", why);
  std::exit(1);
}

// Counts messages and notes when the first and the last came.
class Meter {
 public:
  explicit Meter(std::size_t wanted) : wanted_(wanted) {}
  void count() {
    if (count_ == 0) first_ = Clock::now();
    if (count_ + 1 == wanted_) last_ = Clock::now();
    count_ += 1;
  }
  // Messages a second between the first and the last.
  [[nodiscard]] double wait() const {
    if (!wait_until([this] { return count_ >= wanted_; }, kRunPatience)) {
      give_up(fmt::format("only {} of {} messages came", count_.load(), wanted_));
    }
    return static_cast<double>(wanted_ - 1) / std::chrono::duration<double>(last_ - first_).count();
  }

 private:
  const std::size_t wanted_;
  std::atomic<std::size_t> count_{0};
  Clock::time_point first_;
  Clock::time_point last_;
};

// A bare client with a persistent session, its callback set and its subscription made.
class BareClient {
 public:
  BareClient(const Broker& broker, Meter& meter)
      : client_("tcp://127.0.0.1:" + std::to_string(broker.port()), "bare",
                mqtt::create_options(MQTTVERSION_5)) {
    options_.set_mqtt_version(MQTTVERSION_5);
    options_.set_clean_start(false);
    options_.set_properties(
        {{mqtt::property::SESSION_EXPIRY_INTERVAL, 3600}, {mqtt::property::RECEIVE_MAXIMUM, 20}});
    client_.set_message_callback([&meter](const mqtt::const_message_ptr&) { meter.count(); });
    client_.connect(options_)->wait();
    client_.subscribe(kTopic, 1)->wait();
  }
  ~BareClient() { client_.disconnect()->wait(); }
  BareClient(const BareClient&) = delete;
  BareClient& operator=(const BareClient&) = delete;

 private:
  mqtt::connect_options options_;
  mqtt::async_client client_;
};

// The intake with decoding and inbox as the service has them.
class KeepingIntake {
 public:
  KeepingIntake(const Broker& broker, const std::string& folder, Meter& meter) {
    daemon::InboxOptions options;
    options.folder = folder;
    auto opened = daemon::Inbox::open(std::move(options), 0);
    if (!opened) give_up(opened.error().text);
    inbox_ = std::move(*opened);
    format_.form = PayloadForm::json;
    format_.measures = {{Quantity::temperature, Unit::celsius, "/t", {}},
                        {Quantity::humidity, Unit::percent, "/rh", {}}};
    format_.time = TimeSource{"/ts", TimeFormat::seconds};
    daemon::IntakeSettings settings;
    settings.access.uri = broker.uri();
    settings.storeroom = "cellar";
    settings.topics = {kTopic};
    auto intake = daemon::Intake::start(
        settings,
        {[this, &meter](const daemon::IncomingMessage& message) { return keep(message, meter); },
         [this](bool connected, const std::string& reason) { states_.add(connected, reason); }});
    if (!intake) give_up(intake.error().text);
    intake_ = std::move(*intake);
    if (!states_.wait_connected()) give_up("no connection: " + states_.text());
  }

 private:
  daemon::Taken keep(const daemon::IncomingMessage& message, Meter& meter) {
    const Instant now = std::chrono::time_point_cast<Duration>(std::chrono::system_clock::now());
    auto readings = decode(format_, "s1", message.payload, now);
    if (!readings) give_up(readings.error().text);
    daemon::ReadingsRecord record;
    record.received_at = now;
    record.readings = std::move(*readings);
    if (const auto kept = inbox_->append(record); !kept) give_up(kept.error().text);
    meter.count();
    return daemon::Taken::go_on;
  }

  States states_;
  PayloadFormat format_;
  std::unique_ptr<daemon::Inbox> inbox_;
  std::unique_ptr<daemon::Intake> intake_;
};

std::vector<std::string> payloads(std::size_t count) {
  std::vector<std::string> result;
  for (std::size_t i = 0; i < count; ++i) {
    result.push_back(fmt::format("{{\"ts\":{},\"t\":{:.2f},\"rh\":{:.1f}}}", 1772476200 + i,
                                 18.0 + static_cast<double>(i % 700) / 100.0,
                                 55.0 + static_cast<double>(i % 200) / 10.0));
  }
  return result;
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

void report(const char* name, const std::vector<double>& rates) {
  fmt::print("{:28} {:8.0f} messages/s  [{:.0f}-{:.0f}]\n", name, median(rates),
             *std::min_element(rates.begin(), rates.end()),
             *std::max_element(rates.begin(), rates.end()));
}

void measure(std::size_t count, const std::string& folder) {
  const auto lines = payloads(count);
  std::vector<double> bare;
  std::vector<double> keeping;
  for (int run = 0; run < kRuns; ++run) {
    Broker broker({.extra = {"max_queued_messages 0", "max_inflight_messages 20"}});
    Meter unused(1);
    const std::string inbox = folder + "/inbox-" + std::to_string(run);
    { const BareClient makes_session(broker, unused); }
    { const KeepingIntake makes_session(broker, inbox, unused); }
    raw_publish_lines(broker, kTopic, lines);  // queued for both
    Meter bare_meter(count);
    {
      const BareClient client(broker, bare_meter);
      bare.push_back(bare_meter.wait());
    }
    Meter keeping_meter(count);
    {
      const KeepingIntake intake(broker, inbox, keeping_meter);
      keeping.push_back(keeping_meter.wait());
    }
  }
  report("bare client, does nothing", bare);
  report("intake, decodes and keeps", keeping);
  fmt::print("ratio {:.2f} ({} messages of about 40 bytes, {} runs, medians)\n",
             median(keeping) / median(bare), count, kRuns);
}

}  // namespace
}  // namespace torpor::testing

int main(int argc, char** argv) {
  const torpor::tests::TempFolder scratch;
  const std::size_t count = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 20000;
  torpor::testing::measure(count, argc > 2 ? argv[2] : scratch.text());
  return 0;
}
