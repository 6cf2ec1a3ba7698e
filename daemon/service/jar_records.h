// What the history keeps of the jars' models, as the next commit will write it: each one's model, a
// checkpoint a day, and its finished days in short. Strand only.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/store.h"
#include "daemon/ledger/ledger.h"
#include "daemon/service/jar_days.h"
#include "rules/watch/watch.h"

namespace torpor::daemon {

class JarRecords {
 public:
  // The model reaches a time up to which nothing is expected to change.
  void settled(rules::JarModelBytes model);
  // Nothing stored of the jar at or after `from` is of use; days under way are refused.
  void outdated(const std::string& jar, Instant from);
  // Cultures have changed: days are looked at again from the closing on.
  void forget_days();

  // Within the caller's transaction; written() once that is committed.
  [[nodiscard]] tl::expected<void, Error> write(Store& store) const;
  void written();
  // Something stored is to be removed first.
  [[nodiscard]] bool removal_waits() const { return !outdated_.empty(); }

  // Finished days that may not be stored yet, of one jar, at most a year of them; none while as
  // many wait to be written.
  struct Span {
    std::string jar;
    std::uint64_t revision = 0;
    std::chrono::sys_days from, to;
  };
  [[nodiscard]] std::optional<Span> wanted_days(const Ledger& ledger) const;
  // Passed over if the jar was outdated since they were wanted.
  void take(const WorkedOutDays& worked_out);
  [[nodiscard]] std::size_t waiting_days() const;

 private:
  struct Course {
    std::uint64_t revision = 0;
    std::optional<std::chrono::sys_days> stored_to;  // nullopt: not known since the start
    std::optional<std::chrono::sys_days> settled_to;
  };

  std::map<std::string, rules::JarModelBytes> models_;
  std::map<std::string, Instant> outdated_;
  std::map<std::string, std::vector<StoredJarDay>> days_;
  // From where the days were worked out to: a report of a jar whose past was told late would step
  // all of it again to come to today.
  std::map<std::string, std::map<Instant, std::string>> checkpoints_;
  std::map<std::string, std::chrono::sys_days> checkpoint_days_;  // of the newest one of each jar
  std::map<std::string, Course> courses_;
  mutable bool none_wanted_ = false;  // as last looked at: asked with every message
};

}  // namespace torpor::daemon
