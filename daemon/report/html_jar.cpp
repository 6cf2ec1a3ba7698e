#include "daemon/report/html_jar.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>

#include "daemon/report/alert_words.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/jar_line.h"
#include "daemon/report/jar_words.h"
#include "daemon/report/life_picture.h"
#include "daemon/report/local_days.h"

namespace torpor::daemon {
namespace {

// What one printed page holds beside the rest; `torpor jar ID --json` has them all.
constexpr std::size_t kEntriesOnPage = 4;
constexpr std::size_t kAlertsOnPage = 2;
constexpr std::size_t kStaysOnPage = 4;
constexpr std::size_t kLineRowsOnPage = 6;
constexpr std::size_t kReasonsOnPage = 4;

template <class T>
std::span<const T> newest(const std::vector<T>& all, std::size_t count) {
  return std::span(all).last(std::min(all.size(), count));
}

void say_earlier(Markup& page, std::size_t all, std::size_t shown) {
  if (all <= shown) return;
  page.element("p", fmt::format("{} earlier not shown; torpor jar --json has all.", all - shown),
               {{"class", "faint"}});
}

class JarPage {
 public:
  JarPage(Markup& page, const JarHistoryView& view, const PageContext& context)
      : page_(page), view_(view), context_(context) {}

  void write() {
    const auto history = page_.in("article", {{"class", "history"}});
    heading();
    what_to_do();
    picture();
    {
      const auto columns = page_.in("div", {{"class", "columns"}});
      // In the order of what is worth most: what one sheet of paper has no room for is cut there.
      reasons();
      figures();
      cautions();
      slip();
      journal();
      alerts();
      line();
      stays();
    }
    foot();
  }

 private:
  // Words of ours, in the person's units.
  [[nodiscard]] std::string said(std::string_view words) const { return context_.units.in(words); }

  void heading() {
    page_.element("p", "torpor \u00b7 " + context_.storeroom, {{"class", "kicker"}});
    page_.element("h1", "Jar " + view_.jar.jar);
    page_.element("p", said(sentence()), {{"class", "sentence"}});
  }

  [[nodiscard]] std::string sentence() const {
    const rules::Standing& standing = view_.jar.standing;
    return fmt::format("{}{}. {}", view_.jar.past ? "Then: " : "", standing_brief(standing),
                       standing.why);
  }

  void what_to_do() {
    const rules::Standing& standing = view_.jar.standing;
    if (view_.jar.past || standing.state == rules::culture::State::retired) return;
    const auto section = page_.in("section");
    page_.element("h2", "What to do");
    if (standing.deed) {
      const auto line = page_.in("p", {{"class", "long"}});
      if (standing.urgency) {
        page_.element("b", fmt::format("{}:", urgency_words(*standing.urgency)));
        page_.text(" ");
      }
      page_.text(said(standing.deed->words));
    } else {
      page_.element("p", "Nothing to do.");
    }
    if (standing.next)
      page_.element("p", "Then: " + said(standing.next->words), {{"class", "long"}});
    if (standing.next_date) {
      page_.element("p",
                    fmt::format("By {} {}.", day_words(standing.next_date->at, context_.zone),
                                standing.next_date->what),
                    {{"class", "faint"}});
    }
  }

  void picture() {
    const auto figure = page_.in("figure");
    if (view_.summary.from >= view_.summary.to) {
      page_.element("p", "No time has passed yet: there is nothing to draw.", {{"class", "faint"}});
      return;
    }
    draw_life(page_, view_, context_);
    page_.element(
        "figcaption",
        fmt::format(
            "{} to {}. Above: where it stood, the sensor that spoke for its air, and by number the "
            "entries of its journal (triangle: done, circle: seen, square: placed or moved). Dark: "
            "the air from its lowest to its highest in each {}. Hatched: no trusted sensor spoke. "
            "Grey and dotted: the range of the estimates. What lies beyond a strip is drawn at its "
            "edge. Alerts: filled bars still stand.",
            moment_words(view_.summary.from, context_.zone),
            moment_words(view_.summary.to, context_.zone), slice_words()));
  }

  [[nodiscard]] std::string slice_words() const {
    if (view_.slices.empty()) return "part";
    return in_words(view_.slices.front().to - view_.slices.front().from);
  }

  void reasons() {
    const auto section = page_.in("section");
    page_.element("h2", "What else there is to know");
    const auto list = page_.in("ul", {{"class", "notes"}});
    const auto& all = view_.jar.standing.reasons;
    for (std::size_t i = 0; i < std::min(all.size(), kReasonsOnPage); ++i) {
      page_.element("li", said(all[i]));
    }
    if (all.empty()) page_.element("li", "Nothing more is known.");
  }

  void row(std::string_view name, std::string_view value) {
    if (value.empty()) return;
    const auto line = page_.in("tr");
    page_.element("th", name, {{"scope", "row"}});
    const auto cell = page_.in("td");
    page_.element("div", value, {{"class", "long"}});
  }

  void figures() {
    const auto section = page_.in("section");
    page_.element("h2", "Estimates, with their range");
    const auto table = page_.in("table");
    const auto body = page_.in("tbody");
    for (const NamedFigure& figure : estimate_rows(view_.jar)) {
      row(figure.name, said(figure.value));
    }
    const ExposureSummary& air = view_.summary;
    if (air.from < air.to) {
      row("air covered",
          fmt::format("{:.1f} % of the time", std::floor(air.coverage_percent * 10.0) / 10.0));
    }
    if (air.highest_temperature) {
      row("air at most", said(fmt::format("{:.1f} °C", air.highest_temperature->value())));
    }
    if (air.mean_kinetic_temperature) {
      row("mean kinetic",
          said(fmt::format("{:.1f} °C of the air", air.mean_kinetic_temperature->value())));
    }
    if (view_.jar.air.temperature) row("air now", said(air_now()));
  }

  [[nodiscard]] std::string air_now() const {
    const AirFigures& air = view_.jar.air;
    std::string words = fmt::format("{:.1f} °C", air.temperature->value());
    if (air.humidity) words += fmt::format(", {:.0f} %", air.humidity->value());
    if (air.dew_point) words += fmt::format(", dew point {:.1f} °C", air.dew_point->value());
    return words + fmt::format(" ({})", air.sensor);
  }

  void line() {
    const std::vector<LineRow> rows = line_rows(view_, context_.zone);
    if (rows.empty()) return;
    const auto section = page_.in("section");
    page_.element("h2", "Its line");
    const auto shown = std::span(rows).first(std::min(rows.size(), kLineRowsOnPage));
    {
      const auto table = page_.in("table");
      const auto body = page_.in("tbody");
      for (const LineRow& each : shown) row(each.name, said(each.value));
    }
    if (rows.size() > shown.size()) {
      page_.element(
          "p",
          fmt::format("{} more not shown; torpor jar --json has all.", rows.size() - shown.size()),
          {{"class", "faint"}});
    }
  }

  void journal() {
    const auto section = page_.in("section");
    page_.element("h2", "Journal");
    if (view_.journal.empty()) {
      page_.element("p", "Nothing was told of it.", {{"class", "faint"}});
      return;
    }
    const auto shown = newest(view_.journal, kEntriesOnPage);
    {
      const auto table = page_.in("table");
      const auto body = page_.in("tbody");
      for (const JournalEntry& entry : shown) {
        const auto line = page_.in("tr");
        page_.element("td", fmt::format("{}", entry.number), {{"class", "number-cell"}});
        const auto cell = page_.in("td");
        page_.element("span", moment_words(entry.happened_at, context_.zone),
                      {{"class", "when faint"}});
        page_.element(
            "div", entry_words(view_, entry),
            {{"class", view_.withdrawn.count(entry.number) > 0 ? "long withdrawn" : "long"}});
      }
    }
    say_earlier(page_, view_.journal.size(), shown.size());
  }

  void alerts() {
    const auto section = page_.in("section");
    page_.element("h2", "Alerts that concerned it");
    if (view_.alerts.empty()) {
      page_.element("p", "None.", {{"class", "faint"}});
      return;
    }
    const auto shown = alerts_to_show(view_.alerts, kAlertsOnPage);
    {
      const auto table = page_.in("table");
      const auto body = page_.in("tbody");
      for (const AlertView* shown_alert : shown) {
        const rules::Alert& alert = shown_alert->alert;
        const auto line = page_.in("tr");
        page_.element("td", fmt::format("{}", alert.number), {{"class", "number-cell"}});
        const auto cell = page_.in("td");
        page_.element("span", alert_head(alert), {{"class", "faint"}});
        page_.element("div", said(alert.what), {{"class", "long"}});
      }
    }
    say_earlier(page_, view_.alerts.size(), shown.size());
  }

  [[nodiscard]] std::string alert_head(const rules::Alert& alert) const {
    std::string words =
        fmt::format("{}: {}, {}, since {}", alert.rule, alert_state_words(alert.state),
                    alert_seen_words(alert), moment_words(alert.since, context_.zone));
    if (alert.ended_at) words += ", ended " + moment_words(*alert.ended_at, context_.zone);
    return words;
  }

  void stays() {
    const auto section = page_.in("section");
    page_.element("h2", "Where it stood");
    if (view_.stays.empty()) {
      page_.element("p", "Nowhere in this time.", {{"class", "faint"}});
      return;
    }
    const auto shown = newest(view_.stays, kStaysOnPage);
    {
      const auto table = page_.in("table");
      const auto body = page_.in("tbody");
      for (const Stay& stay : shown) {
        const std::string to =
            stay.to ? "to " + moment_words(*stay.to, context_.zone) : std::string("still there");
        row(stay.place, moment_words(stay.from, context_.zone) + " " + to);
      }
    }
    say_earlier(page_, view_.stays.size(), shown.size());
  }

  void cautions() {
    const auto section = page_.in("section");
    page_.element("h2", "Cautions");
    const auto list = page_.in("ul", {{"class", "notes"}});
    for (const std::string_view sentence : caution_sentences(view_.made)) {
      page_.element("li", sentence);
    }
  }

  // As the label on a herbarium sheet: what it is.
  void slip() {
    const NewJar& made = view_.made;
    const auto slip = page_.in("div", {{"class", "slip"}});
    page_.element("p", view_.jar.jar + (made.stage.empty() ? "" : " \u00b7 " + made.stage),
                  {{"class", "name"}});
    const auto line = [this](std::string_view name, const std::string& value) {
      if (!value.empty()) page_.element("p", fmt::format("{} {}", name, value));
    };
    line("from", made.origin);
    line("closed", day_words(view_.jar.closed, context_.zone));
    if (view_.jar.retired_at) line("retired", day_words(*view_.jar.retired_at, context_.zone));
    line("holds", said(contents_words(made)));
    line("in", said(vessel_words(made)));
    line("under", made.cover ? std::string(cover_name(*made.cover)) : std::string());
    line("stands in", view_.jar.place);
  }

  void foot() {
    const auto foot = page_.in("footer");
    page_.element("p",
                  fmt::format("As of {}, {} time. Estimates are by the jar's model and no proof: "
                              "your nose and eyes at the jar decide.",
                              moment_words(context_.as_of, context_.zone), context_.zone.zone()));
  }

  Markup& page_;
  const JarHistoryView& view_;
  const PageContext& context_;
};

}  // namespace

void write_jar(Markup& page, const JarHistoryView& view, const PageContext& context) {
  JarPage(page, view, context).write();
}

std::string jar_report(const JarHistoryView& view, const PageContext& context) {
  return html_page(
      "Jar " + view.jar.jar,
      [](Markup& page) {
        const auto style = page.in("style");
        page.style(page_style());
      },
      [&](Markup& page) {
        const auto main = page.in("main", {{"class", "sheet"}});
        write_jar(page, view, context);
      });
}

}  // namespace torpor::daemon
