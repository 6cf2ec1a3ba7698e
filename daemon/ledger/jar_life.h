// A jar's model carried through what the history holds of it: the air it stood in, what was told of
// it and what the probes on it read. What a report shows of the past, and what the service takes
// over when a late entry has made its own model wrong, are both worked out here.
#pragma once

#include <chrono>
#include <functional>
#include <map>
#include <memory>
#include <span>
#include <vector>

#include "daemon/history/store.h"
#include "daemon/ledger/exposure.h"
#include "daemon/ledger/jar_day.h"
#include "daemon/ledger/ledger.h"
#include "rules/culture/jar_model.h"
#include "rules/watch/jar_told.h"

namespace torpor::daemon {

class JarLife {
 public:
  // All outlive it. `split_line`: Ledger::split_line() of the jar.
  JarLife(const Jar& jar, std::span<const Jar> split_line, const StoodAir& air,
          std::shared_ptr<const rules::culture::Profile> profile);

  // The model at `until` (when it was closed, if that is later; when it was retired, if that is
  // earlier), from the newest stored state that leads there.
  [[nodiscard]] rules::culture::JarModel at(Instant until) const;

  // The same, seen on the way: at `from`, then every `every`, and at `to`. from <= to, every > 0.
  using See = std::function<void(const rules::culture::JarModel&)>;
  rules::culture::JarModel walk(Instant from, Instant to, Duration every, const See& see) const;

  // The days (UTC) of [from, to) in short, in order, the first and the last one cut. Those that are
  // stored are not stepped again; `stored` tells. Returns the model at `to`. from <= to.
  using SeeDay = std::function<void(const JarDay&, bool stored)>;
  rules::culture::JarModel days(Instant from, Instant to, const SeeDay& see) const;
  // What days of this jar are stored under.
  [[nodiscard]] std::uint64_t identity() const;

 private:
  [[nodiscard]] rules::culture::JarModel start(Instant until) const;
  [[nodiscard]] std::vector<rules::JarTold> told(Instant after, Instant until) const;
  void add_probes(std::vector<rules::JarTold>& told, Instant after, Instant until) const;
  void carry(rules::culture::JarModel& model, Instant until) const;
  void finish(rules::culture::JarModel& model, Instant until) const;
  [[nodiscard]] std::map<std::chrono::sys_days, JarDay> stored_days(Instant from, Instant to) const;
  [[nodiscard]] JarDay step_day(rules::culture::JarModel& model, Instant from, Instant to) const;

  const Jar& jar_;
  std::span<const Jar> split_line_;
  const StoodAir& air_;
  const Reader& history_;  // of the air
  std::shared_ptr<const rules::culture::Profile> profile_;
};

}  // namespace torpor::daemon
