#include "rules/watch/window_signal.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace torpor::rules {
namespace {

constexpr double kMillion = 1e6;
constexpr double kNoFigure = std::numeric_limits<double>::quiet_NaN();

// Design: unknown below 75 % coverage. In quarters, to stay in whole numbers.
constexpr std::int64_t kQuartersNeeded = 3;

constexpr std::int64_t kNoStep = WindowTrack::kUnknown;

// How the known part of the window goes on: by `rate` ms each ms.
struct Coverage {
  std::int64_t known = 0;
  int rate = 0;
  std::int64_t length = 0;

  [[nodiscard]] bool enough() const { return 4 * known >= kQuartersNeeded * length; }
  // ms until enough() changes; nullopt: it does not.
  [[nodiscard]] std::optional<std::int64_t> changes_in() const {
    const std::int64_t over = 4 * known - kQuartersNeeded * length;
    if (enough() && rate < 0) return over / 4 + 1;
    if (!enough() && rate > 0) return (-over + 3) / 4;
    return std::nullopt;
  }
};

WindowTrack::Sum sum_of(const std::vector<WindowPiece>& pieces) {
  WindowTrack::Sum all;
  for (const WindowPiece& piece : pieces) {
    const WindowTrack::Sum sum = piece.track->sum(piece.from, piece.to);
    all.weighted += sum.weighted;
    all.known += sum.known;
  }
  return all;
}

WindowTrack::Extremes extremes_of(const std::vector<WindowPiece>& pieces) {
  WindowTrack::Extremes all;
  for (const WindowPiece& piece : pieces) {
    const bool is_last = &piece == &pieces.back();
    if (!is_last && piece.to <= piece.from) continue;
    const Instant last = is_last ? piece.to : piece.to - Duration(1);
    const WindowTrack::Extremes found = piece.track->extremes(piece.from, last);
    all.lowest = std::min(all.lowest, found.lowest);
    all.highest = std::max(all.highest, found.highest);
  }
  return all;
}

std::int64_t or_zero(std::int64_t value) { return value == kNoStep ? 0 : value; }

Truth truth_in(const Condition& condition, AirTimeline& air, Instant t, Instant& until) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    const auto read = [&](const Term& term) -> Signal {
      const auto spoken = air.value_at(std::get<QuantityAt>(term).quantity, t);
      return {spoken.value, false, {}, spoken.until};
    };
    Signal signal = read(clause->of.term);
    if (clause->of.minus) signal = difference(signal, read(*clause->of.minus));
    until = std::min(until, signal.until);
    return truth_of(flat_clause(*clause), signal, t);
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    const Truth of = truth_in(negation->of, air, t, until);
    if (of == Truth::unknown) return of;
    return of == Truth::yes ? Truth::no : Truth::yes;
  }
  const auto* all = std::get_if<AllOf>(&condition->what);
  const auto& parts = all != nullptr ? all->parts : std::get<AnyOf>(condition->what).parts;
  const Truth decides = all != nullptr ? Truth::no : Truth::yes;
  Truth result = all != nullptr ? Truth::yes : Truth::no;
  for (const Condition& part : parts) {
    const Truth truth = truth_in(part, air, t, until);
    if (truth == decides || (truth == Truth::unknown && result != decides)) result = truth;
  }
  return result;
}

}  // namespace

std::int64_t in_millionths(double value) { return std::llround(value * kMillion); }

WindowInput window_input(const Window& window, AirTimeline& air, Instant t) {
  WindowInput input;
  if (window.kind == WindowKind::time_with) {
    const Truth truth = truth_in(window.with, air, t, input.until);
    if (truth != Truth::unknown) input.value = truth == Truth::yes ? 1 : 0;
    return input;
  }
  const auto of = air.value_at(std::get<QuantityAt>(window.of->term).quantity, t);
  double value = of.value;
  input.until = of.until;
  if (window.of->minus) {
    const auto minus = air.value_at(std::get<QuantityAt>(*window.of->minus).quantity, t);
    value -= minus.value;
    input.until = std::min(input.until, minus.until);
  }
  if (!std::isnan(value)) input.value = in_millionths(value);
  return input;
}

Signal window_signal(const Window& window, const std::vector<WindowPiece>& pieces, Instant t,
                     Instant stays_until, Drift& drift) {
  const WindowPiece& first = pieces.front();
  const WindowPiece& last = pieces.back();
  const Instant start = t - window.length;
  const std::int64_t leading = last.track->value_at(t);
  const std::int64_t trailing = first.track->value_at(start);
  const Instant leading_until = std::min(last.track->next_change(t), stays_until);
  Instant trailing_until = first.track->next_change(start);
  if (pieces.size() > 1) trailing_until = std::min(trailing_until, first.to);

  const WindowTrack::Sum sum = sum_of(pieces);
  const Coverage coverage{sum.known, int{leading != kNoStep} - int{trailing != kNoStep},
                          window.length.count()};
  Signal signal{kNoFigure, false, {}, leading_until};
  // With nothing known ahead there will not be enough again before something arrives.
  if (!coverage.enough() && leading == kNoStep) return signal;
  if (trailing_until != kNever) signal.firm_until = trailing_until + window.length;
  if (const auto in = coverage.changes_in()) {
    signal.firm_until = std::min(signal.firm_until, t + Duration(*in));
  }
  signal.until = std::min(signal.until, signal.firm_until);
  if (!coverage.enough()) return signal;
  switch (window.kind) {
    case WindowKind::highest:
      signal.value = static_cast<double>(extremes_of(pieces).highest) / kMillion;
      break;
    case WindowKind::lowest:
      signal.value = static_cast<double>(extremes_of(pieces).lowest) / kMillion;
      break;
    case WindowKind::rise:
      if (leading == kNoStep || trailing == kNoStep) break;
      signal.value = static_cast<double>(leading - trailing) / kMillion;
      break;
    case WindowKind::average:
      drift = {sum.weighted, or_zero(leading) - or_zero(trailing), sum.known, coverage.rate, false};
      signal.value = static_cast<double>(sum.weighted) / static_cast<double>(sum.known) / kMillion;
      signal.drift = &drift;
      break;
    case WindowKind::time_with:
      drift = {sum.weighted, or_zero(leading) - or_zero(trailing), 1, 0, true};
      signal.value = static_cast<double>(sum.weighted) / 1000.0;
      signal.drift = &drift;
      break;
  }
  return signal;
}

}  // namespace torpor::rules
