#include "daemon/report/history_sentence.h"

#include <doctest/doctest.h>

#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

using rules::culture::Observation;
using rules::culture::Sign;
using rules::culture::State;

const LocalTime kSentenceZone = LocalTime::in_zone("Europe/Vienna").value();

HistorySentence said(const JarHistoryView& view) { return history_sentence(view, kSentenceZone); }

JarHistoryView in_state(State state) {
  JarHistoryView view = sample_history();
  view.jar.verdict.state = state;
  return view;
}

void see(JarHistoryView& view, Observation what) {
  view.events.push_back({at("2026-02-10T08:00:00Z"), 9, std::move(what)});
}

}  // namespace

TEST_CASE("a jar that slept under watched air has nothing against it") {
  const HistorySentence sentence = said(sample_history());
  CHECK(sentence.leaning == Leaning::nothing_against);
  CHECK(sentence.text ==
        "B-07 is dormant, 59 days after closing: nothing in its history speaks against using it.");
}

TEST_CASE("a dormant jar of which too little is known is not praised") {
  JarHistoryView view = sample_history();
  view.summary.coverage_percent = 75.0;
  CHECK(said(view).leaning == Leaning::nothing_against);
  view.summary.coverage_percent = 74.9;
  CHECK(said(view).leaning == Leaning::cannot_say);
  CHECK(said(view).text.find("sensors covered only 74 % of this time") != std::string::npos);
  view = sample_history();
  view.jar.verdict.figures.inner_dew_h = 23.9;
  CHECK(said(view).leaning == Leaning::nothing_against);
  view.jar.verdict.figures.inner_dew_h = 24.0;
  CHECK(said(view).text.find("water dripped inside for 24 h") != std::string::npos);
}

TEST_CASE("coloured growth speaks against any use, whatever the state") {
  for (const State state : {State::dormant, State::settling, State::awake, State::unwatched}) {
    JarHistoryView view = in_state(state);
    see(view, rules::culture::Look{{Sign::white_growth, Sign::green_growth}});
    CHECK(said(view).leaning == Leaning::against);
    CHECK(said(view).text.find("against any use, for green growth was seen on 10 Feb 2026; do not "
                               "scrape it off") != std::string::npos);
  }
}

TEST_CASE("each state says whether its history speaks against using it and why") {
  CHECK(said(in_state(State::settling)).leaning == Leaning::too_young);
  CHECK(said(in_state(State::unwatched)).leaning == Leaning::cannot_say);
  CHECK(said(in_state(State::due)).leaning == Leaning::use_soon);
  CHECK(said(in_state(State::awake)).leaning == Leaning::against);
  CHECK(said(in_state(State::retired)).leaning == Leaning::retired);
  CHECK(said(in_state(State::waking)).text ==
        "B-07 is waking: nothing speaks against using it soon, but it will not keep, for by "
        "estimate it has done 4 % of the work to its first visible sign.");
}

TEST_CASE("a doubtful jar says what may have killed it") {
  JarHistoryView view = in_state(State::doubtful);
  CHECK(said(view).text ==
        "B-07 is doubtful: its history speaks against using it before a wake test, for it was not "
        "tested for about 9 weeks.");
  view.jar.verdict.figures.hours_above = {90.0, 80.0, 0.0, 0.0};
  CHECK(said(view).text.find("it stood above 40 °C for 80 h") != std::string::npos);
  view.jar.verdict.figures.hours_above[3] = 5.0;
  CHECK(said(view).text.find("it stood above 45 °C for 5 h") != std::string::npos);
  see(view, rules::culture::WakeTest{false});
  CHECK(said(view).text.find("its last wake test showed no life") != std::string::npos);
}

}  // namespace torpor::daemon
