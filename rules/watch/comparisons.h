// The comparisons that some rules make of one subject's quantities, each once, and how they last
// came out. While they come out the same and nothing is due, stepping those rules would change
// nothing: core.cpp leaves it out then.
#pragma once

#include <algorithm>
#include <vector>

#include "rules/book/rule_quantity.h"
#include "rules/watch/evaluator.h"

namespace torpor::rules {

class Comparisons {
 public:
  // True if all that decides a rule are such comparisons, `lasting`, and times with such a
  // condition within a window, all of the subject's own quantities.
  [[nodiscard]] static bool suffice_for(const Program& program);
  // Precondition: suffice_for(program).
  void add(const Program& program);
  // What is counted within a window.
  void add(const Condition& condition);

  struct Outcome {
    bool same = false;       // every one as at the last look
    Instant until = kNever;  // then one may come out otherwise, should nothing arrive (exclusive)
  };
  // `read`: a quantity's signal at `t`.
  template <class Read>
  Outcome look(Instant t, const Read& read) {
    Outcome outcome{true, kNever};
    for (std::size_t i = 0; i < quantities_.size(); ++i) {
      signals_[i] = read(quantities_[i]);
      outcome.until = std::min(outcome.until, signals_[i].until);
    }
    for (Compared& each : compared_) {
      const ProgramClause& clause = each.clause;
      Truth truth = Truth::unknown;
      if (clause.minus) {
        truth = truth_of(clause, difference(signals_[clause.slot], signals_[*clause.minus]), t);
      } else {
        const Signal& signal = signals_[clause.slot];
        truth = truth_of(clause, signal, t);
        if (signal.ramps) outcome.until = std::min(outcome.until, next_crossing(clause, signal, t));
      }
      outcome.same = outcome.same && truth == each.truth;
      each.truth = truth;
    }
    return outcome;
  }

 private:
  struct Compared {
    ProgramClause clause;  // its slots: into quantities_
    Truth truth = Truth::unknown;
  };
  std::size_t index_of(RuleQuantity quantity);
  void add(ProgramClause clause, RuleQuantity of, std::optional<RuleQuantity> minus);

  std::vector<RuleQuantity> quantities_;
  std::vector<Signal> signals_;  // of one look, by quantity
  std::vector<Compared> compared_;
};

}  // namespace torpor::rules
