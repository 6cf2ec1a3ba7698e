// The shelves as a drawing: every place a board, its jars standing on it. What a jar's hatching
// says stands below it in words.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <string>
#include <vector>

#include "daemon/report/jar_words.h"
#include "daemon/web/web_pages.h"

namespace torpor::daemon {
namespace {

using rules::culture::State;

constexpr Literal kGlass = "M16 20h28v8q8 4 8 12v34q0 6 -6 6h-32q-6 0 -6 -6v-34q0 -8 8 -12z";
constexpr Literal kContents = "M9 44h42v30q0 5 -5 5h-32q-5 0 -5 -5z";
constexpr Literal kPaperCap = "M12 20q18 -12 36 0l3 7q-21 -5 -42 0z";
constexpr Literal kRaisedCap = "M14 14q16 -14 36 -4l5 7q-22 -3 -42 4z";

// The look of one state: its name, how the contents are hatched, and what more is drawn.
struct Look {
  State state;
  Literal hatching;  // id of a pattern; empty: nothing is known of the contents
  int bubbles;
  bool cap_raised;
  bool asked;  // a question mark
};
constexpr Look kLooks[] = {
    {State::settling, "settle", 2, false, false}, {State::dormant, "rest", 0, false, false},
    {State::waking, "stir", 3, false, false},     {State::due, "stir", 6, false, true},
    {State::awake, "work", 9, true, false},       {State::doubtful, "cross", 0, false, true},
    {State::unwatched, "", 0, false, true},       {State::retired, "", 0, false, false},
};

void pattern_lines(Markup& page, Literal id, double size, std::initializer_list<Literal> paths) {
  const auto pattern = page.in(
      "pattern",
      {{"id", id.text()}, {"width", size}, {"height", size}, {"patternUnits", "userSpaceOnUse"}});
  for (const Literal path : paths) page.shape("path", {{"d", path.text()}, {"fill", "none"}});
}

void patterns(Markup& page) {
  pattern_lines(page, "rest", 4.0, {"M0 2h4"});
  pattern_lines(page, "settle", 8.0, {"M0 2h5M4 6h4"});
  pattern_lines(page, "stir", 8.0, {"M0 6q2 -4 4 0t4 0"});
  pattern_lines(page, "work", 6.0, {"M0 6l6 -6", "M0 3q1.5 -3 3 0t3 0"});
  pattern_lines(page, "cross", 6.0, {"M0 0l6 6M6 0l-6 6"});
}

void symbol(Markup& page, const Look& look) {
  const auto symbol = page.in(
      "symbol", {{"id", "jar-" + std::string(state_name(look.state))}, {"viewBox", "0 0 60 84"}});
  if (!look.hatching.text().empty()) {
    page.shape("path", {{"class", "fill"},
                        {"d", kContents.text()},
                        {"fill", fmt::format("url(#{})", look.hatching.text())}});
  }
  // Bubbles rise in three columns.
  for (int i = 0; i < look.bubbles; ++i) {
    const int row = i / 3;
    page.shape("circle", {{"class", "bubble"},
                          {"cx", 19.0 + 11.0 * (i % 3)},
                          {"cy", 68.0 - 10.0 * row - 5.0 * (i % 2)},
                          {"r", 2.0 + 0.5 * (i % 3)}});
  }
  page.shape("path", {{"class", "glass"}, {"d", kGlass.text()}});
  page.shape("path", {{"class", "cap"}, {"d", (look.cap_raised ? kRaisedCap : kPaperCap).text()}});
  if (look.asked) page.element("text", "?", {{"class", "asked"}, {"x", 30.0}, {"y", 72.0}});
}

void symbols(Markup& page) {
  const auto svg = page.in("svg", {{"class", "hidden"}, {"aria-hidden", "true"}});
  {
    const auto defs = page.in("defs");
    patterns(page);
  }
  for (const Look& look : kLooks) symbol(page, look);
}

void jar_on_board(Markup& page, const JarRow& jar) {
  const auto item = page.in("li");
  const auto link = page.in("a", {{"href", "/jar/" + jar.jar}});
  const std::string state(state_name(jar.standing.state));
  {
    const auto drawing = page.in("svg", {{"class", "jar"}, {"aria-hidden", "true"}});
    page.shape("use", {{"href", "#jar-" + state}});
  }
  page.element("b", jar.jar);
  page.element("i", state);
  page.element("span", fmt::format("use: {}", use_name(jar.standing.use)));
  const std::string wakes = to_wake_words(jar.standing);
  if (wakes != "-") page.element("span", "wakes: " + wakes);
  if (!jar.alerts.empty()) {
    page.element("span", fmt::format("alert {}", fmt::join(jar.alerts, ", ")));
  }
}

std::string air_words(const AirFigures& air) {
  if (!air.temperature) return "no sensor speaks for it";
  std::string words = fmt::format("{:.1f} °C", air.temperature->value());
  if (air.humidity) words += fmt::format(", {:.0f} %", air.humidity->value());
  if (air.dew_point) words += fmt::format(", dew point {:.1f} °C", air.dew_point->value());
  return words;
}

void board(Markup& page, const std::vector<const JarRow*>& jars) {
  if (jars.empty()) {
    page.element("p", "no jar stands here", {{"class", "empty"}});
    return;
  }
  const auto list = page.in("ul", {{"class", "board"}});
  for (const JarRow* jar : jars) jar_on_board(page, *jar);
}

// Those that are kept at each place; "" is nowhere that was told.
using JarsByPlace = std::map<std::string, std::vector<const JarRow*>>;

JarsByPlace by_place(std::span<const JarRow> jars) {
  JarsByPlace places;
  for (const JarRow& jar : jars) {
    if (jar.standing.state != State::retired) places[jar.place].push_back(&jar);
  }
  return places;
}

void place(Markup& page, const PlaceView& view, const std::vector<const JarRow*>& standing,
           const PersonUnits& units) {
  // A room that only holds shelves is shown by them.
  if (standing.empty() && view.sensors.empty()) return;
  const auto section = page.in("section", {{"class", "place"}, {"aria-label", view.path}});
  page.element("h2", view.path + (view.outside && view.path != "outside" ? " (outside)" : ""));
  {
    const auto line = page.in("p", {{"class", "faint"}});
    page.text(units.in(air_words(view.air)));
    for (const std::uint64_t alert : view.alerts) {
      page.text("; ");
      page.element("a", fmt::format("alert {}", alert),
                   {{"href", fmt::format("/alerts#alert-{}", alert)}});
    }
  }
  if (!standing.empty() || !view.outside) board(page, standing);
}

void alerts_line(Markup& page, std::span<const AlertView> alerts, const PersonUnits& units) {
  if (alerts.empty()) {
    page.element("p", "No alert stands.");
    return;
  }
  const auto first =
      std::min_element(alerts.begin(), alerts.end(), [](const AlertView& a, const AlertView& b) {
        return std::pair(a.alert.urgency, b.alert.since) <
               std::pair(b.alert.urgency, a.alert.since);
      });
  const auto line = page.in("p");
  page.element("a",
               fmt::format("{} alert{} stand{}", alerts.size(), alerts.size() == 1 ? "" : "s",
                           alerts.size() == 1 ? "s" : ""),
               {{"href", "/alerts"}});
  page.text(": " + units.in(first->alert.what));
}

}  // namespace

void write_shelves(Markup& page, const Shelves& shelves, const PersonUnits& units) {
  page.element("h1", "The shelves");
  alerts_line(page, shelves.alerts, units);
  symbols(page);
  JarsByPlace kept = by_place(shelves.jars);
  for (const PlaceView& view : shelves.places) place(page, view, kept[view.path], units);
  const auto& nowhere = kept[""];
  if (!nowhere.empty()) {
    const auto section = page.in("section", {{"class", "place"}, {"aria-label", "nowhere"}});
    page.element("h2", "Nowhere that was told");
    board(page, nowhere);
  }
  std::vector<std::string> retired;
  for (const JarRow& jar : shelves.jars) {
    if (jar.standing.state == State::retired) retired.push_back(jar.jar);
  }
  if (retired.empty()) return;
  const auto line = page.in("p", {{"class", "place"}});
  page.text("Retired: ");
  for (const std::string& jar : retired) {
    page.element("a", jar, {{"href", "/jar/" + jar}});
    page.text(" ");
  }
}

std::string jar_icon() {
  Markup page;
  {
    const auto svg =
        page.in("svg", {{"xmlns", "http://www.w3.org/2000/svg"}, {"viewBox", "0 0 60 84"}});
    for (const Literal path : {kContents, kGlass, kPaperCap}) {
      page.shape("path", {{"d", path.text()},
                          {"fill", path.text() == kContents.text() ? "#77420c" : "#faf7ef"},
                          {"fill-opacity", path.text() == kGlass.text() ? 0.0 : 1.0},
                          {"stroke", "#1f1a14"},
                          {"stroke-width", 3.0}});
    }
  }
  return page.take();
}

}  // namespace torpor::daemon
