#include "rules/watch/evaluator.h"

#include <algorithm>
#include <cmath>

#include "rules/watch/window_signal.h"

namespace torpor::rules {
namespace {

template <class Number>
Truth compare(Comparison comparison, Number value, Number limit, Number upper) {
  bool holds = false;
  switch (comparison) {
    case Comparison::above:
      holds = value > limit;
      break;
    case Comparison::below:
      holds = value < limit;
      break;
    case Comparison::at_least:
      holds = value >= limit;
      break;
    case Comparison::at_most:
      holds = value <= limit;
      break;
    case Comparison::between:
      holds = value >= limit && value <= upper;
      break;
  }
  return holds ? Truth::yes : Truth::no;
}

// A drifting value against a limit: positive above it, zero at it; changes by `rate` each ms.
struct Lead {
  Wide at = 0, rate = 0;
};

Lead lead_over(std::int64_t limit, const Signal& of, const Signal* minus) {
  if (of.drift != nullptr) {
    const Drift& drift = *of.drift;
    const Wide scaled = Wide(limit) + (minus != nullptr ? in_millionths(minus->value) : 0);
    return {drift.sum - scaled * drift.weight, drift.sum_rate - scaled * drift.weight_rate};
  }
  const Drift& drift = *minus->drift;
  const Wide scaled = Wide(in_millionths(of.value)) - limit;
  return {scaled * drift.weight - drift.sum, scaled * drift.weight_rate - drift.sum_rate};
}

// When it next goes from below, at or above the limit to another of these.
Instant next_turn(const Lead& lead, Instant t) {
  if (lead.rate == 0) return kNever;
  if (lead.at == 0) return t + Duration(1);
  if ((lead.at > 0) == (lead.rate > 0)) return kNever;
  const Wide distance = lead.at > 0 ? lead.at : -lead.at;
  const Wide speed = lead.rate > 0 ? lead.rate : -lead.rate;
  const Wide after = (distance + speed - 1) / speed;
  // Beyond any window; what it is made of will have changed by then.
  constexpr std::int64_t kFar = std::int64_t{1} << 40;
  return after > kFar ? kNever : t + Duration(static_cast<std::int64_t>(after));
}

enum class Side { raise, ease };

struct Look {
  const Program& program;
  const std::vector<Signal>& signals;
  const Instant t;
  ConditionState& state;
  NextLook next = {};

  // No reading puts it off.
  void firmly(Instant at) {
    next.due = std::min(next.due, at);
    next.firm = std::min(next.firm, at);
  }

  Truth drifting(const ProgramClause& clause, const Signal& of, const Signal* minus) {
    if (std::isnan(of.value) || (minus != nullptr && std::isnan(minus->value))) {
      return Truth::unknown;
    }
    const Drift& drift = of.drift != nullptr ? *of.drift : *minus->drift;
    const auto lead = [&](double limit, std::int64_t limit_ms) {
      const Lead over = lead_over(drift.is_time ? limit_ms : in_millionths(limit), of, minus);
      firmly(next_turn(over, t));
      return over.at;
    };
    const Wide over = lead(clause.limit, clause.limit_ms);
    switch (clause.comparison) {
      case Comparison::above:
        return over > 0 ? Truth::yes : Truth::no;
      case Comparison::below:
        return over < 0 ? Truth::yes : Truth::no;
      case Comparison::at_least:
        return over >= 0 ? Truth::yes : Truth::no;
      case Comparison::at_most:
        return over <= 0 ? Truth::yes : Truth::no;
      case Comparison::between:
        break;
    }
    const Wide over_upper = lead(clause.upper, clause.upper_ms);
    return over >= 0 && over_upper <= 0 ? Truth::yes : Truth::no;
  }

  Truth clause(const ProgramClause& clause) {
    const Signal& first = signals[clause.slot];
    const Signal* second = clause.minus ? &signals[*clause.minus] : nullptr;
    if (first.drift != nullptr || (second != nullptr && second->drift != nullptr)) {
      return drifting(clause, first, second);
    }
    if (clause.minus) {
      return truth_of(clause, difference(signals[clause.slot], signals[*clause.minus]), t);
    }
    const Signal& signal = signals[clause.slot];
    if (signal.ramps) next.due = std::min(next.due, next_crossing(clause, signal, t));
    return truth_of(clause, signal, t);
  }

  Truth lasting(const ProgramNode& node, Side side) {
    const Truth of = node_truth(program.parts[node.first_part], side);
    LastingState& own = state.lastings[node.index];
    const bool running = own.since != kAlways;
    if (of == Truth::yes) {
      if (!running) own.since = t;
      const Instant met_at = own.since + (node.length - own.banked);
      if (t >= met_at) return Truth::yes;
      firmly(met_at);
      return Truth::no;
    }
    if (of == Truth::unknown && side == Side::ease) {
      if (running) own.banked += t - own.since;
      own.since = kAlways;
    } else {
      own = {};
    }
    return of;
  }

  // Every part is looked at, even when the first decides: each `lasting` keeps its own time.
  Truth group(const ProgramNode& node, Side side) {
    const Truth decides = node.kind == ProgramNode::Kind::all ? Truth::no : Truth::yes;
    Truth result = node.kind == ProgramNode::Kind::all ? Truth::yes : Truth::no;
    for (std::uint16_t i = 0; i < node.part_count; ++i) {
      const auto part_at = static_cast<std::size_t>(node.first_part + i);
      const Truth part = node_truth(program.parts[part_at], side);
      if (part == decides || (part == Truth::unknown && result != decides)) result = part;
    }
    return result;
  }

  Truth node_truth(std::uint16_t index, Side side) {
    const ProgramNode& node = program.nodes[index];
    switch (node.kind) {
      case ProgramNode::Kind::clause:
        return clause(program.clauses[node.index]);
      case ProgramNode::Kind::lasting:
        return lasting(node, side);
      case ProgramNode::Kind::all:
      case ProgramNode::Kind::any:
        return group(node, side);
      case ProgramNode::Kind::negation:
        break;
    }
    const Truth of = node_truth(program.parts[node.first_part], side);
    if (of == Truth::unknown) return of;
    return of == Truth::yes ? Truth::no : Truth::yes;
  }
};

}  // namespace

// Strict comparisons change a millisecond, the resolution of time, after the limit.
Instant next_crossing(const ProgramClause& clause, const Signal& signal, Instant t) {
  const Duration limit(clause.limit_ms), upper(clause.upper_ms), tick(1);
  Instant next = kNever;
  const auto consider = [&](Duration elapsed) {
    const Instant at = signal.origin + elapsed;
    if (at > t) next = std::min(next, at);
  };
  switch (clause.comparison) {
    case Comparison::above:
    case Comparison::at_most:
      consider(limit + tick);
      break;
    case Comparison::at_least:
    case Comparison::below:
      consider(limit);
      break;
    case Comparison::between:
      consider(limit);
      consider(upper + tick);
      break;
  }
  return next;
}

Truth truth_of(const ProgramClause& clause, const Signal& signal, Instant t) {
  if (signal.ramps) {
    const std::int64_t elapsed = (t - signal.origin).count();
    return compare(clause.comparison, elapsed, clause.limit_ms, clause.upper_ms);
  }
  if (std::isnan(signal.value)) return Truth::unknown;
  return compare(clause.comparison, signal.value, clause.limit, clause.upper);
}

ProgramClause flat_clause(const Clause& clause) {
  ProgramClause flat;
  flat.comparison = clause.comparison;
  flat.limit = to_canonical(clause.limit, clause.of.dimension);
  if (clause.comparison == Comparison::between) {
    flat.upper = to_canonical(clause.upper, clause.of.dimension);
  }
  flat.limit_ms = std::llround(flat.limit * 1000.0);
  flat.upper_ms = std::llround(flat.upper * 1000.0);
  return flat;
}

Signal difference(const Signal& of, const Signal& minus) {
  return {of.value - minus.value, false, {}, std::min(of.until, minus.until)};
}

NextLook evaluate(const Program& program, const std::vector<Signal>& signals, Instant t,
                  ConditionState& state) {
  state.lastings.resize(program.lastings);
  Look look{program, signals, t, state};
  for (const Signal& signal : signals) {
    look.next.due = std::min(look.next.due, signal.until);
    look.next.firm = std::min(look.next.firm, signal.firm_until);
  }
  const Truth raises = look.node_truth(program.when, Side::raise);
  const Truth eases = look.node_truth(program.until, Side::ease);
  if (raises == Truth::yes) {
    if (!state.met) state.met_since = t;
    state.met = true;
  } else if (eases == Truth::yes) {
    state.met = false;
  }
  if (!state.met) state.met_since = {};
  return look.next;
}

}  // namespace torpor::rules
