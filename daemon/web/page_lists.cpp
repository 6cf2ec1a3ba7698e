// Alerts with their remedies, sensors with what is known of them.
#include <fmt/format.h>

#include <algorithm>

#include "daemon/report/accuracy_words.h"
#include "daemon/report/alert_words.h"
#include "daemon/report/local_days.h"
#include "daemon/web/web_pages.h"

namespace torpor::daemon {
namespace {

void alert_block(Markup& page, const rules::Alert& alert, const PageContext& context) {
  const std::string urgency(rules::urgency_name(alert.urgency));
  const auto article = page.in("article", {{"class", "alert " + urgency}});
  page.element("h2", fmt::format("{} {}", alert.number, alert.rule));
  std::string state =
      fmt::format("to be done: {}; {}, {}; since {}", urgency, alert_state_words(alert.state),
                  alert_seen_words(alert), moment_words(alert.since, context.zone));
  if (alert.deferred_until) {
    state +=
        fmt::format("; deferred until {}{}{}", moment_words(*alert.deferred_until, context.zone),
                    alert.deferred_reason.empty() ? "" : ": ", alert.deferred_reason);
  }
  page.element("p", state, {{"class", "faint"}});
  page.element("p", alert.what);
  if (!alert.outlook.empty() && alert.state == rules::AlertState::standing) {
    page.element("p", alert.outlook);
  }
  if (!alert.why.empty()) page.element("p", alert.why);
  if (!alert.jars.empty()) {
    const auto line = page.in("p");
    page.text("Jars: ");
    for (const std::string& jar : alert.jars) {
      page.element("a", jar, {{"href", "/jar/" + jar}});
      page.text(" ");
    }
  }
  const auto list = page.in("ul", {{"class", "remedies"}});
  for (const rules::Advice& advice : alert.remedies) page.element("li", advice.words);
}

std::string_view state_words(SensorState state) {
  switch (state) {
    case SensorState::live:
      return "live";
    case SensorState::silent:
      return "silent";
    case SensorState::never_heard:
      return "never heard";
    case SensorState::not_configured:
      break;
  }
  return "not configured";
}

std::string value_words(const SensorReading& reading) {
  return fmt::format("{} {:.1f} {}{}", facts(reading.quantity).name, reading.value,
                     facts(reading.quantity).symbol, reading.trusted ? "" : ", not trusted");
}

void sensor_row(Markup& page, const SensorView& view, const PageContext& context) {
  const auto row = page.in("tr");
  page.element("th", view.id, {{"scope", "row"}});
  page.element("td", view.jar.empty() ? view.place : "jar " + view.jar,
               {{"data-name", "hangs on"}});
  page.element("td", rules::senses_name(view.senses), {{"data-name", "senses"}});
  page.element("td", state_words(view.state), {{"data-name", "state"}});
  std::string said, trust;
  std::optional<Instant> last;
  for (const SensorReading& reading : view.readings) {
    said += (said.empty() ? "" : "; ") + value_words(reading);
    last = std::max(last.value_or(reading.measured_at), reading.measured_at);
    if (!reading.trusted) trust = "impossible values are kept, not trusted: check it";
  }
  if (trust.empty() && last) trust = "trusted";
  page.element("td", said.empty() ? "-" : said, {{"data-name", "last said"}});
  page.element("td", last ? moment_words(*last, context.zone) : "-", {{"data-name", "at"}});
  page.element("td", trust.empty() ? "-" : trust, {{"data-name", "trust"}});
  std::vector<std::string> accuracy = check_words(view, context.zone);
  for (std::string& words : unchecked_words(view)) accuracy.push_back(std::move(words));
  page.element("td", accuracy.empty() ? "-" : fmt::format("{}", fmt::join(accuracy, ". ")),
               {{"data-name", "accuracy"}});
}

}  // namespace

void write_alerts(Markup& page, std::span<const AlertView> alerts, const PageContext& context) {
  page.element("h1", "Alerts");
  if (alerts.empty()) page.element("p", "No alert stands.");
  for (const AlertView& view : alerts) alert_block(page, view.alert, context);
}

void write_sensors(Markup& page, std::span<const SensorView> sensors, const PageContext& context) {
  page.element("h1", "Sensors");
  if (sensors.empty()) {
    page.element("p", "No sensor is configured.");
    return;
  }
  const auto table = page.in("table", {{"class", "stack"}});
  {
    const auto head = page.in("thead");
    const auto row = page.in("tr");
    for (const std::string_view name :
         {"sensor", "hangs on", "senses", "state", "last said", "at", "trust", "accuracy"}) {
      page.element("th", name, {{"scope", "col"}});
    }
  }
  const auto body = page.in("tbody");
  for (const SensorView& view : sensors) sensor_row(page, view, context);
}

}  // namespace torpor::daemon
