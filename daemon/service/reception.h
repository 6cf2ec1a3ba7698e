// Where messages from the broker arrive: topic -> sensor -> decode -> inbox, or a refusal that is
// counted, said in the log (at most once in ten minutes a sensor) and acknowledged. Runs on the
// link's receive thread and never waits for another; returning is the acknowledgement
// (daemon/link/link.h).
#pragma once

#include <array>
#include <atomic>
#include <chrono>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "config/settings.h"
#include "daemon/clock/room_clock.h"
#include "daemon/history/inbox.h"
#include "daemon/link/link.h"
#include "daemon/service/tell_rate.h"

namespace torpor::daemon {

// What became of the messages since the start; for the service topic. Readable from any thread.
// Each message is counted in `messages` and in at most one of the others.
struct IntakeCounters {
  std::atomic<std::uint64_t> messages{0};  // all that arrived
  std::atomic<std::uint64_t> accepted{0};  // messages, not readings, kept in inbox or spool
  std::array<std::atomic<std::uint64_t>, kRefusalCount> refused{};  // by Refusal
  std::atomic<std::uint64_t> unknown_topic{0};  // no sensor's topic, and no pattern's either
  std::atomic<std::uint64_t> tells_refused{0};  // too long, retained, over the rate

  [[nodiscard]] std::uint64_t refused_in_all() const {
    std::uint64_t sum = unknown_topic.load() + tells_refused.load();
    for (const auto& count : refused) sum += count.load();
    return sum;
  }
};

// What the reception hands over to the strand after the inbox has the record.
struct ReceptionHandlers {
  std::function<void(InboxRecord)> accepted;
  // A tell that is refused before it is recorded: the strand answers it.
  std::function<void(const TellRecord&, const std::string& answer)> tell_refused;
  // True while the strand is so far behind that the intake should pause.
  std::function<bool()> strand_is_full;
  // Neither disk nor spool could keep a message. Must not return: returning would acknowledge what
  // is lost. The daemon exits; the broker's session redelivers after the restart.
  std::function<void(const std::string& trouble)> cannot_keep;
};

// How far the sensors' readings go, as a reception begins.
struct StampsSoFar {
  std::optional<Instant> newest;  // time by the readings
  struct Sensor {
    std::optional<Instant> newest;     // its newest reading
    std::optional<Duration> interval;  // between two of them; nullopt: not known
  };
  std::map<std::string, Sensor, std::less<>> by_sensor;
};

// A payload without a time of its own is stamped on arrival, and no two of one sensor alike: the
// next one gets the next millisecond. Those that the broker kept while it was not reached come at
// once; they are spread from the sensor's last one on, by its interval, as far as it is known.
// Under Clock::readings the stamp is the newest measured-at seen so far: recorded days played at
// speed have a time of their own.
class Reception {
 public:
  Reception(const std::string& storeroom, rules::Clock clock, const StampsSoFar& so_far,
            Inbox& inbox, IntakeCounters& counters, ReceptionHandlers handlers);

  // Replaces the sensors it knows. Any thread.
  void use_sensors(const std::vector<config::SensorSettings>& sensors);
  // Whose sentences no stranger's flood may keep out (tell_rate.h). Before the first message.
  void use_regulars(const std::vector<std::string>& names) { tell_rate_.know(names); }
  // Filters to subscribe for those sensors, without repetition.
  [[nodiscard]] static std::vector<std::string> filters(
      const std::vector<config::SensorSettings>& sensors);

  // The link's message handler. `wall`: what time it is. `unsure`: that may turn out wrong; a
  // reading from further ahead is stamped on arrival instead of refused.
  [[nodiscard]] Taken message(const IncomingMessage& message, Instant wall, bool unsure = false);
  // The clock was wrong: what was stamped has moved. Not while a message is being taken.
  void move_stamps(const ClockMove& move);
  // The link to the broker is gone; what comes next may have waited there. Any thread.
  void link_lost() { link_lost_.store(true); }

 private:
  struct Directory;  // topic -> sensors, built once per configuration

  Taken keep(InboxPayload payload);
  struct Stamped {  // the arrivals of one sensor
    std::optional<Instant> newest;
    std::optional<Duration> interval;
    Instant arrived{};
    bool waited = false;  // the last one had waited at the broker
  };
  void stamp(std::vector<Reading>& readings, Instant wall);
  [[nodiscard]] Instant stamp_of(Stamped& sensor, Instant wall);
  Taken reading(const Directory& directory, const IncomingMessage& message, Instant wall,
                bool unsure);
  Taken tell(const IncomingMessage& message, Instant wall);
  void report_refusal(const IncomingMessage& message, std::string_view sensor,
                      const DecodeError& error);
  [[nodiscard]] TellRate::Verdict judge_rate(const TellRecord& record, Instant wall);

  // Constant after construction.
  const std::string tell_topic_;
  const rules::Clock clock_;
  Inbox& inbox_;
  IntakeCounters& counters_;
  const ReceptionHandlers handlers_;

  // Any thread.
  std::atomic<bool> link_lost_{true};
  std::mutex directory_lock_;
  std::shared_ptr<const Directory> directory_;

  // Receive thread only.
  struct Fault {
    std::chrono::steady_clock::time_point reported;
    std::uint64_t unreported = 0;
  };
  std::map<std::string, Fault, std::less<>> faults_;  // by sensor, for the log
  std::optional<Instant> newest_;                     // under Clock::readings
  std::map<std::string, Stamped, std::less<>> stamped_;
  Instant link_since_{};  // when the first message came after it was lost
  TellRate tell_rate_;
};

}  // namespace torpor::daemon
