// Alerts with their remedies, sensors with what is known of them.
#include <fmt/format.h>

#include <algorithm>

#include "daemon/report/accuracy_words.h"
#include "daemon/report/alert_words.h"
#include "daemon/report/local_days.h"
#include "daemon/report/sensor_words.h"
#include "daemon/web/web_pages.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

void alert_block(Markup& page, const rules::Alert& alert, const PageContext& context) {
  const std::string urgency(rules::urgency_name(alert.urgency));
  const auto article = page.in(
      "article", {{"class", "alert " + urgency}, {"id", fmt::format("alert-{}", alert.number)}});
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
  page.element("p", context.units.in(alert.what));
  if (!alert.outlook.empty() && alert.state == rules::AlertState::standing) {
    page.element("p", context.units.in(alert.outlook));
  }
  if (!alert.why.empty()) page.element("p", context.units.in(alert.why));
  if (!alert.jars.empty()) {
    const auto line = page.in("p");
    page.text("Jars: ");
    for (const std::string& jar : alert.jars) {
      page.element("a", jar, {{"href", "/jar/" + jar}});
      page.text(" ");
    }
  }
  const auto list = page.in("ul", {{"class", "remedies"}});
  for (const rules::Advice& advice : alert.remedies)
    page.element("li", context.units.in(advice.words));
}

std::string reading_words(const SensorView& view, const PersonUnits& units) {
  std::string words;
  for (const SensorReading& reading : view.readings) {
    const QuantityFacts& fact = facts(reading.quantity);
    words += fmt::format("{}{}{} {}", words.empty() ? "" : ", ",
                         fact.of_sensor ? fmt::format("{} ", fact.name) : "",
                         shown_number(reading.value, 1), fact.symbol);
  }
  return units.in(words);
}

std::optional<Instant> last_heard(const SensorView& view) {
  std::optional<Instant> last;
  for (const SensorReading& reading : view.readings) {
    if (facts(reading.quantity).of_sensor) continue;
    last = std::max(last.value_or(reading.measured_at), reading.measured_at);
  }
  return last;
}

std::string hangs_words(const SensorView& view) {
  const std::string where = !view.jar.empty()     ? "jar " + view.jar
                            : !view.place.empty() ? view.place
                                                  : "where nobody knows";
  return fmt::format("{}, senses {}", where, rules::senses_name(view.senses));
}

// What it says, and whether to believe it: the doubts in full, for whoever has to look at it.
void sensor_row(Markup& page, const SensorView& view, const PageContext& context) {
  const auto row = page.in("tr");
  page.element("th", view.id, {{"scope", "row"}});
  page.element("td", hangs_words(view), {{"data-name", "hangs on"}});
  {
    const auto said = page.in("td", {{"data-name", "last said"}});
    const std::optional<Instant> last = last_heard(view);
    page.text(last ? reading_words(view, context.units) : "nothing yet");
    if (last) page.element("div", moment_words(*last, context.zone), {{"class", "faint"}});
  }
  const auto trust = page.in("td", {{"data-name", "trust"}});
  page.element("b", trust_state(view));
  for (const std::string& reason : trust_reasons(view)) {
    page.element("p", context.units.in(reason));
  }
  for (const std::string& words : check_words(view, context.zone)) {
    page.element("p", context.units.in(words), {{"class", "faint"}});
  }
}

void sensor_table(Markup& page, std::span<const SensorView> sensors, const PageContext& context) {
  const auto table = page.in("table", {{"class", "stack"}});
  {
    const auto head = page.in("thead");
    const auto row = page.in("tr");
    for (const std::string_view name : {"sensor", "hangs on", "last said", "is it believed"}) {
      page.element("th", name, {{"scope", "col"}});
    }
  }
  const auto body = page.in("tbody");
  for (const SensorView& view : sensors) sensor_row(page, view, context);
}

}  // namespace

void write_alerts(Markup& page, std::span<const AlertView> alerts, const PageContext& context) {
  page.element("h1", "Alerts");
  if (alerts.empty()) page.element("p", "No alert stands.");
  // The most urgent first, and of those the newest.
  std::vector<const rules::Alert*> ordered;
  for (const AlertView& view : alerts) ordered.push_back(&view.alert);
  std::stable_sort(ordered.begin(), ordered.end(), [](const auto* a, const auto* b) {
    return std::pair(a->urgency, b->since) < std::pair(b->urgency, a->since);
  });
  for (const rules::Alert* alert : ordered) alert_block(page, *alert, context);
}

void write_sensors(Markup& page, std::span<const SensorView> sensors, const PageContext& context) {
  page.element("h1", "Sensors");
  if (sensors.empty()) {
    page.element("p", "No sensor is configured.");
    return;
  }
  sensor_table(page, sensors, context);
  if (const std::string never = never_checked_words(sensors); !never.empty()) {
    page.element("p", context.units.in(never), {{"class", "faint below"}});
  }
}

}  // namespace torpor::daemon
