// Where messages from the broker arrive: topic -> sensor -> decode -> inbox, or a refusal that is
// counted, said once in the log and acknowledged. Runs on the link's receive thread and never waits
// for another; returning is the acknowledgement (daemon/link/link.h).
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
#include "daemon/history/inbox.h"
#include "daemon/link/link.h"
#include "daemon/tell_rate.h"

namespace torpor::daemon {

// What became of the messages so far; for the service topic. Readable from any thread.
struct IntakeCounters {
  std::atomic<std::uint64_t> messages{0};  // all that arrived
  std::atomic<std::uint64_t> accepted{0};  // kept in the inbox
  std::array<std::atomic<std::uint64_t>, kRefusalCount> refused{};
  std::atomic<std::uint64_t> unknown_topic{0};
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

class Reception {
 public:
  // Under Clock::readings a payload without a time of its own is stamped with the newest
  // measured-at seen so far, `newest` at first: recorded days played at speed have a time of their
  // own.
  Reception(const std::string& storeroom, rules::Clock clock, std::optional<Instant> newest,
            Inbox& inbox, IntakeCounters& counters, ReceptionHandlers handlers);

  // Replaces the sensors it knows. Any thread.
  void use_sensors(const std::vector<config::SensorSettings>& sensors);
  // Whose sentences no stranger's flood may keep out (tell_rate.h). Before the first message.
  void use_regulars(const std::vector<std::string>& names) { tell_rate_.know(names); }
  // Filters to subscribe for those sensors, without repetition.
  [[nodiscard]] static std::vector<std::string> filters(
      const std::vector<config::SensorSettings>& sensors);

  // The link's message handler.
  [[nodiscard]] Taken message(const IncomingMessage& message, Instant wall);

 private:
  struct Directory;  // topic -> sensors, built once per configuration

  Taken keep(InboxPayload payload);
  void stamp(std::vector<Reading>& readings);
  Taken reading(const Directory& directory, const IncomingMessage& message, Instant wall);
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
  std::mutex directory_lock_;
  std::shared_ptr<const Directory> directory_;

  // Receive thread only.
  struct Fault {
    std::chrono::steady_clock::time_point reported;
    std::uint64_t unreported = 0;
  };
  std::map<std::string, Fault, std::less<>> faults_;  // by sensor and reason, for the log
  std::optional<Instant> newest_;                     // under Clock::readings
  TellRate tell_rate_;
};

}  // namespace torpor::daemon
