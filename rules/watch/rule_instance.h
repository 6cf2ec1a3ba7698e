// One rule on one subject: a state machine over the signals of that subject.
//
// It is settled up to the newest reading that concerned it. What timers alone bring after that is
// worked out on demand and never written down, so that readings which arrive after an outage are
// stepped at their own times, as if they had not been late. A reading from before the settled time
// takes the machine back, at most by `late`, and steps it again.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <vector>

#include "rules/watch/evaluator.h"

namespace torpor::rules {

// The signals of an instance's slots at a moment.
using SignalsAt = std::function<const std::vector<Signal>&(Instant)>;

class RuleInstance {
 public:
  explicit RuleInstance(const Program& program) : program_(&program) {}

  // Something that concerns it happened, or became known, at `at`: a reading, a move. Steps it
  // from there to the newest such moment.
  void step(Instant at, Duration late, const SignalsAt& signals);

  struct Head {
    bool met = false;
    Instant met_since;
    NextLook next = {};  // when it may change without anything arriving
  };
  // Its state at `now`, or at the settled time if that is later (a reading may be measured a little
  // ahead of the wall clock).
  [[nodiscard]] Head head(Instant now, const SignalsAt& signals) const;

  // Readings up to `at` have come that changed nothing for it: settled there. Preconditions: it was
  // settled before `at`, and stepped there it would go on as it is.
  void carry_on(Instant at, Duration late, const SignalsAt& signals);

  // Never looked at before this moment: a jar that is not placed yet.
  void begin_at(Instant start) { start_ = start; }
  [[nodiscard]] std::optional<Instant> settled() const { return settled_; }
  // NextLook's, from there.
  [[nodiscard]] Instant firm() const { return settled_next_.firm; }

  // Since when its state is as it is, oldest first; the last entry stands at the settled time.
  struct Entry {
    Instant from;
    ConditionState state;
    friend bool operator==(const Entry&, const Entry&) = default;
  };

  // ---- for the snapshot -----------------------------------------------------------------------
  struct Saved {
    std::optional<Instant> start;
    std::optional<Instant> settled;
    Instant settled_due;
    Instant frozen;
    std::vector<Entry> log;
  };
  [[nodiscard]] Saved save() const;
  void restore(Saved saved);
  // Takes over that an alert of it stands, and nothing else: its conditions were rewritten.
  void carry_met(Instant met_since, Instant at);

 private:
  void forget_old(Duration late);

  const Program* program_;
  std::optional<Instant> start_;
  std::optional<Instant> settled_;
  NextLook settled_next_;     // first look due after settled_, should nothing arrive
  Instant frozen_ = kAlways;  // what was up to here is not looked at again
  std::vector<Entry> log_;
};

}  // namespace torpor::rules
