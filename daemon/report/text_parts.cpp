#include "daemon/report/text_parts.h"

#include <fmt/format.h>

#include "daemon/report/alert_words.h"
#include "daemon/report/printable.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
std::string figure_text(std::optional<double> value, int decimals) {
  if (!value) return "-";
  std::string text = shown_number(*value, decimals);
  // Rounding must not leave a negative nothing.
  if (text.find_first_not_of("-0.") == std::string::npos && text.front() == '-') text.erase(0, 1);
  return text;
}

std::string paragraph(std::string_view text, int indent, int width, std::string_view lead) {
  std::string shown;
  std::string before = fit(lead, indent);
  for (const std::string& line : wrap(printable(text), std::max(2, width - indent))) {
    shown += before + line + '\n';
    before.assign(static_cast<std::size_t>(indent), ' ');
  }
  return shown;
}

Paint state_paint(rules::culture::State state) {
  using JarState = rules::culture::State;
  switch (state) {
    case JarState::awake:
      return Paint::alarm;
    case JarState::waking:
    case JarState::due:
    case JarState::doubtful:
    case JarState::unwatched:
      return Paint::warning;
    case JarState::settling:
    case JarState::dormant:
    case JarState::retired:
      break;
  }
  return Paint::none;
}

Paint urgency_paint(const rules::Alert& alert) {
  if (alert.state == rules::AlertState::ended) return Paint::none;
  if (alert.urgency == rules::Urgency::now) return Paint::alarm;
  return alert.urgency == rules::Urgency::today ? Paint::warning : Paint::strong;
}

std::string alert_block(const AlertView& view, bool whole, const TextContext& context) {
  const rules::Alert& alert = view.alert;
  const int width = context.style.width;
  const std::string head = printable(fmt::format(
      "{} {} ({}): {}, {}", alert.number, alert.rule, rules::urgency_name(alert.urgency),
      alert_state_words(alert.state), alert_seen_words(alert)));
  std::string text;
  for (const std::string& line : wrap(head, width)) {
    text += painted(line, urgency_paint(alert), context.style.colour) + '\n';
  }
  text += paragraph(alert_when_words(alert, context.zone), 4, width);
  text += paragraph(context.units.in(alert.what), 4, width);
  if (alert.deferred_until) {
    text += paragraph(
        fmt::format("Deferred until {}{}{}{}{}.", context.zone.to_text(*alert.deferred_until),
                    alert.seen_by.empty() ? "" : " by ", alert.seen_by,
                    alert.deferred_reason.empty() ? "" : ": ", alert.deferred_reason),
        4, width);
  }
  if (!alert.outlook.empty() && alert.state == rules::AlertState::standing) {
    text += paragraph(context.units.in(alert.outlook), 4, width);
  }
  if (!alert.jars.empty()) {
    text += paragraph(fmt::format("Jars: {}", fmt::join(alert.jars, " ")), 4, width);
  }
  if (!whole) return text;
  if (!alert.why.empty()) text += paragraph(context.units.in(alert.why), 4, width);
  for (const rules::Advice& advice : alert.remedies) {
    text += paragraph(context.units.in(advice.words), 6, width, "    -");
  }
  return text;
}

}  // namespace torpor::daemon
