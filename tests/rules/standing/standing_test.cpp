// Whether a jar may be used, what is to be done first and why: each decision from both sides. Which
// sign is how grave, and what is done about it, is common practice, no source.
#include "rules/standing/standing.h"

#include <doctest/doctest.h>

#include <algorithm>

namespace torpor::rules {
namespace {

using culture::State;
using culture::WakeTime;

constexpr Instant kThen = instant_of(1772409600000);  // 2026-03-02T00:00:00Z

culture::Verdict verdict_of(State state) {
  culture::Verdict verdict;
  verdict.state = state;
  verdict.reasons = {"The model says so."};
  const WakeTime beyond{WakeTime::Kind::beyond, culture::kSightHours};
  verdict.time_to_wake = {beyond, beyond, beyond};
  return verdict;
}

StandingAlert alert_of(std::uint64_t number, Urgency urgency, std::vector<Remedy> remedies,
                       bool of_jar = true) {
  StandingAlert alert;
  alert.number = number;
  alert.urgency = urgency;
  alert.of_jar = of_jar;
  if (!of_jar) alert.place = "cellar";
  alert.reason = "Reason " + std::to_string(number) + ".";
  for (const Remedy remedy : remedies) {
    alert.deeds.push_back({remedy, "Do " + std::string(remedy_name(remedy)) + ".", {}});
  }
  return alert;
}

// A scene that owns what it looks at.
struct Stand {
  culture::Verdict verdict;
  std::vector<StandingAlert> alerts;
  std::optional<Spoilage> spoilage;
  bool gas_tight = false, recomputing = false;
  std::string place = "pantry";

  explicit Stand(State state) : verdict(verdict_of(state)) {}

  [[nodiscard]] Standing standing() const {
    StandingScene scene;
    scene.jar = "K3";
    scene.place = place;
    scene.verdict = &verdict;
    scene.as_of = kThen;
    scene.spoilage = spoilage;
    scene.gas_tight = gas_tight;
    scene.recomputing = recomputing;
    scene.alerts = alerts;
    return standing_of(scene);
  }
};

Spoilage green_in(std::string jar) {
  return {kThen, culture::Sign::green_growth, std::move(jar), 12};
}

// "wake-test, then look"; "nothing".
std::string deeds_of(const Standing& standing) {
  if (!standing.deed) return "nothing";
  std::string words(remedy_name(standing.deed->remedy));
  if (standing.next) words += ", then " + std::string(remedy_name(standing.next->remedy));
  return words;
}

bool has_reason(const Standing& standing, const std::string& reason) {
  return std::find(standing.reasons.begin(), standing.reasons.end(), reason) !=
         standing.reasons.end();
}

}  // namespace

TEST_CASE("by its state a jar may be used, asks for a look or a test, or may not be used") {
  const struct {
    State state;
    Use use;
    const char* deeds;
    std::optional<Urgency> urgency;
  } table[] = {
      {State::dormant, Use::yes, "nothing", {}},
      {State::settling, Use::no, "nothing", {}},
      {State::waking, Use::look_first, "look", {}},
      {State::due, Use::look_first, "look", {}},
      {State::awake, Use::look_first, "look", Urgency::today},
      {State::unwatched, Use::look_first, "look", {}},
      {State::doubtful, Use::wake_test_first, "wake-test", {}},
      {State::retired, Use::no, "nothing", {}},
  };
  for (const auto& row : table) {
    const Standing standing = Stand(row.state).standing();
    CAPTURE(culture::state_name(row.state));
    CHECK(standing.state == row.state);
    CHECK(standing.use == row.use);
    CHECK(deeds_of(standing) == row.deeds);
    CHECK(standing.urgency == row.urgency);
    CHECK(standing.alert == 0);
    CHECK(standing.jar == "K3");
    CHECK(standing.place == "pantry");
    CHECK(standing.as_of == kThen);
  }
}

TEST_CASE("a jar that sleeps, but at worst works already, wants a look; one hour off it does not") {
  Stand stand(State::dormant);
  stand.verdict.time_to_wake[culture::kCautious] = {WakeTime::Kind::within, 1.0};
  CHECK(stand.standing().use == Use::yes);
  CHECK(stand.standing().why == "It sleeps, and no waking is in sight.");
  stand.verdict.time_to_wake[culture::kCautious] = {WakeTime::Kind::due, 0.0};
  CHECK(stand.standing().use == Use::look_first);
  CHECK(stand.standing().why == "It sleeps, most likely; at worst it is waking already.");
  CHECK(deeds_of(stand.standing()) == "look");
  stand.verdict.time_to_wake[culture::kLikely] = {WakeTime::Kind::within, 21.0 * 24};
  stand.verdict.time_to_wake[culture::kCautious] = {WakeTime::Kind::within, 20.0 * 24};
  CHECK(stand.standing().why == "It sleeps; in the air it has had it wakes in about 3 weeks.");
}

TEST_CASE(
    "an alert about the jar that cannot wait a week asks for a look, one of its room does not") {
  const auto use_with = [](Urgency urgency, bool of_jar, State state = State::dormant) {
    Stand stand(state);
    stand.alerts = {alert_of(4, urgency, {Remedy::add_sugar}, of_jar)};
    return stand.standing().use;
  };
  CHECK(use_with(Urgency::this_week, true) == Use::yes);
  CHECK(use_with(Urgency::today, true) == Use::look_first);
  CHECK(use_with(Urgency::now, true) == Use::look_first);
  CHECK(use_with(Urgency::now, false) == Use::yes);
  // Never less than its state asks for.
  CHECK(use_with(Urgency::now, true, State::doubtful) == Use::wake_test_first);
  CHECK(use_with(Urgency::today, true, State::settling) == Use::no);
}

TEST_CASE("while it is worked out anew a jar is looked at first, and that is said") {
  Stand stand(State::dormant);
  stand.recomputing = true;
  const Standing standing = stand.standing();
  CHECK(standing.use == Use::look_first);
  CHECK(standing.recomputing);
  CHECK(has_reason(standing,
                   "It is being worked out anew from its history; that may change what is said "
                   "here."));
  stand.verdict.state = State::doubtful;
  CHECK(stand.standing().use == Use::wake_test_first);
  stand.recomputing = false;
  CHECK_FALSE(stand.standing().recomputing);
  CHECK_FALSE(has_reason(stand.standing(), standing.reasons.front()));
}

TEST_CASE("a cracked jar is not for use, and what may hold glass is said before all else") {
  Stand stand(State::dormant);
  stand.verdict.figures.cracked = true;
  Standing standing = stand.standing();
  CHECK(standing.use == Use::no);
  CHECK(standing.urgency == Urgency::today);
  CHECK(standing.why == "It was found cracked.");
  CHECK(deeds_of(standing) == "renew-vessel");
  CHECK(standing.deed->words ==
        "Put on gloves and glasses, stand K3 in a tray, and put what is surely free of glass into "
        "a whole dry vessel. Then tell `retire K3 because \"cracked\"`.");
  // Where gas may be under its lid the lid still goes first.
  stand.verdict.state = State::awake;
  stand.gas_tight = true;
  CHECK(deeds_of(stand.standing()) == "ease-lid, then renew-vessel");
}

TEST_CASE("a spoiled jar is not for use in any state, and has one deed whatever else stands") {
  for (int i = 0; i < static_cast<int>(State::retired); ++i) {
    Stand stand(static_cast<State>(i));
    stand.spoilage = green_in("K3");
    stand.alerts = {alert_of(7, Urgency::now, {Remedy::move}, false),
                    alert_of(8, Urgency::today, {Remedy::add_sugar})};
    const Standing standing = stand.standing();
    CAPTURE(culture::state_name(standing.state));
    CHECK(standing.use == Use::no);
    CHECK(deeds_of(standing) == "carry-out");
    CHECK(standing.why == "Green growth was found in it (entry 12).");
    CHECK(standing.alert == 8);  // the jar's own
    CHECK(standing.urgency == Urgency::today);
    CHECK_FALSE(standing.next_date.has_value());
  }
}

TEST_CASE(
    "what is done with a spoiled jar: food, dust, hands, retire; the lid first if it holds gas") {
  Stand stand(State::dormant);
  stand.spoilage = green_in("K3");
  Standing standing = stand.standing();
  CHECK(standing.deed->words ==
        "Keep K3 from food, close it, carry it out and wash your hands. Do not sniff or scrape it: "
        "its dust harms the lungs. Then tell `retire K3 because \"spoiled\"`.");
  CHECK(standing.urgency == Urgency::today);
  CHECK_FALSE(standing.next.has_value());
  // Rot and larvae have no dust.
  for (const culture::Sign sign : {culture::Sign::rotten_smell, culture::Sign::larvae}) {
    stand.spoilage->sign = sign;
    CHECK(stand.standing().deed->words ==
          "Keep K3 from food, close it, carry it out and wash your hands. Then tell `retire K3 "
          "because \"spoiled\"`.");
  }
  stand.gas_tight = true;
  standing = stand.standing();
  CHECK(deeds_of(standing) == "ease-lid, then carry-out");
  CHECK(standing.urgency == Urgency::now);
}

TEST_CASE("spoilage is said of the jar it was found in") {
  CHECK(spoilage_words(green_in("K3"), "K3") == "Green growth was found in it (entry 12).");
  CHECK(spoilage_words(green_in("K1"), "K3") ==
        "Green growth was found in K1, which it comes from (entry 12).");
  CHECK(spoilage_words({kThen, culture::Sign::larvae, "K3", 9}, "K3") ==
        "Larvae were found in it (entry 9).");
}

TEST_CASE("a retired jar asks for nothing, and says it was spoiled if it was") {
  Stand stand(State::retired);
  stand.alerts = {alert_of(4, Urgency::now, {Remedy::look})};
  CHECK(deeds_of(stand.standing()) == "nothing");
  CHECK(stand.standing().why == "It was retired.");
  CHECK(stand.standing().reasons.empty());
  stand.spoilage = green_in("K3");
  CHECK(deeds_of(stand.standing()) == "nothing");
  CHECK(stand.standing().why == "Green growth was found in it (entry 12).");
}

TEST_CASE("who leads: not put off, the more urgent, what can hurt, the jar's own, the older") {
  using Alerts = std::pair<StandingAlert, StandingAlert>;
  StandingAlert put_off = alert_of(1, Urgency::now, {Remedy::ease_lid});
  put_off.put_off = true;
  const Alerts table[] = {
      {alert_of(9, Urgency::this_week, {Remedy::look}), put_off},
      {alert_of(9, Urgency::now, {Remedy::look}), alert_of(1, Urgency::today, {Remedy::ease_lid})},
      {alert_of(9, Urgency::today, {Remedy::ease_lid}),
       alert_of(1, Urgency::today, {Remedy::carry_out})},
      {alert_of(9, Urgency::today, {Remedy::carry_out}),
       alert_of(1, Urgency::today, {Remedy::look})},
      {alert_of(9, Urgency::today, {Remedy::look}, false), alert_of(1, Urgency::today, {})},
      {alert_of(9, Urgency::today, {Remedy::look}),
       alert_of(1, Urgency::today, {Remedy::add_sugar}, false)},
      {alert_of(1, Urgency::today, {Remedy::look}),
       alert_of(9, Urgency::today, {Remedy::add_sugar})},
  };
  for (std::size_t i = 0; i < std::size(table); ++i) {
    CAPTURE(i);
    const auto& [first, second] = table[i];
    CHECK(leads(first, second));
    CHECK_FALSE(leads(second, first));
    CHECK_FALSE(leads(first, first));
    // In whatever order they are handed over, the leader's deed and reason are the jar's.
    for (const bool turned : {false, true}) {
      Stand stand(State::dormant);
      stand.alerts = turned ? std::vector{second, first} : std::vector{first, second};
      const Standing standing = stand.standing();
      CHECK(standing.alert == first.number);
      CHECK(standing.urgency == first.urgency);
      CHECK(standing.deed == first.deeds.front());
    }
  }
}

TEST_CASE("the leader's reason is why, what else stands is a reason, each once") {
  Stand stand(State::waking);
  stand.alerts = {alert_of(3, Urgency::today, {Remedy::add_sugar, Remedy::look}),
                  alert_of(5, Urgency::this_week, {Remedy::vent}, false)};
  const Standing standing = stand.standing();
  CHECK(standing.why == "Reason 3.");
  CHECK(deeds_of(standing) == "add-sugar, then look");
  CHECK(standing.reasons == std::vector<std::string>{"cellar: Reason 5.", "The model says so."});
}

TEST_CASE("the next deed is another one, and an alert without a deed is a reason only") {
  Stand stand(State::waking);
  stand.alerts = {alert_of(3, Urgency::now, {}), alert_of(4, Urgency::today, {Remedy::look}),
                  alert_of(5, Urgency::today, {Remedy::look, Remedy::move})};
  const Standing standing = stand.standing();
  CHECK(standing.alert == 4);
  CHECK(standing.urgency == Urgency::today);
  CHECK(deeds_of(standing) == "look, then move");
  CHECK(has_reason(standing, "Reason 3."));
}

TEST_CASE("under a lid that holds gas the lid goes first if the jar may be working") {
  for (const State state : {State::waking, State::due, State::awake}) {
    Stand stand(state);
    stand.gas_tight = true;
    CAPTURE(culture::state_name(state));
    CHECK(deeds_of(stand.standing()) == "ease-lid, then look");
  }
  // A jar that settles makes gas as well, and asks for nothing else.
  Stand settling(State::settling);
  settling.gas_tight = true;
  CHECK(deeds_of(settling.standing()) == "ease-lid");
  // One that sleeps does not, but for a sign that it does.
  Stand doubtful(State::doubtful);
  doubtful.gas_tight = true;
  CHECK(deeds_of(doubtful.standing()) == "wake-test");
  CHECK(doubtful.standing().deed->words.ends_with(
      " Its lid is tight: first ease it slowly, a cloth over it, face and eyes away."));
  doubtful.verdict.figures.waking_signs = 1;
  CHECK(deeds_of(doubtful.standing()) == "ease-lid, then wake-test");
  Stand open(State::awake);
  CHECK(deeds_of(open.standing()) == "look");
}

TEST_CASE(
    "only what opens a still jar carries the lid's caution, and an older ease-lid goes once") {
  const auto heeded = [](Remedy remedy, bool gas) {
    std::vector<Advice> deeds{{remedy, "Do it.", {}}};
    heed_lid(deeds, "K3", gas);
    return deeds;
  };
  for (int i = 0; i <= static_cast<int>(Remedy::renew_vessel); ++i) {
    const auto remedy = static_cast<Remedy>(i);
    CAPTURE(remedy_name(remedy));
    const bool opens = remedy == Remedy::add_sugar || remedy == Remedy::renew_cover ||
                       remedy == Remedy::look || remedy == Remedy::wake_test ||
                       remedy == Remedy::use_first;
    CHECK((heeded(remedy, false).front().words != "Do it.") == opens);
    CHECK(heeded(remedy, true).front() == ease_lid_deed("K3"));
    CHECK(heeded(remedy, true).size() == (remedy == Remedy::ease_lid ? 1 : 2));
  }
}

TEST_CASE(
    "the next date: it settles, wakes or wants a test, whichever is next; none once it is due") {
  Stand stand(State::dormant);
  CHECK_FALSE(stand.standing().next_date.has_value());
  stand.verdict.figures.test_due_in_days = 30.0;
  CHECK(stand.standing().next_date ==
        NextDate{kThen + std::chrono::hours(30 * 24), "it wants a wake test before use"});
  stand.verdict.time_to_wake[culture::kLikely] = {WakeTime::Kind::within, 100.0};
  CHECK(stand.standing().next_date ==
        NextDate{kThen + std::chrono::hours(100), "it wakes, if its air stays as it was"});
  stand.verdict.figures.settled_in_days = 2.5;
  CHECK(stand.standing().next_date == NextDate{kThen + std::chrono::hours(60), "it has settled"});
  for (const State state : {State::awake, State::due, State::retired}) {
    stand.verdict.state = state;
    CHECK_FALSE(stand.standing().next_date.has_value());
  }
}

TEST_CASE("a jar's line: where it is, what may be done, the deed, and why") {
  Stand stand(State::dormant);
  CHECK(standing_brief(stand.standing()) == "dormant, use: yes");
  CHECK(standing_line(stand.standing()) ==
        "K3 (pantry): dormant, use: yes. Nothing to do. It sleeps, and no waking is in sight.");
  stand.place.clear();
  stand.alerts = {alert_of(3, Urgency::this_week, {Remedy::add_sugar})};
  CHECK(standing_line(stand.standing()) ==
        "K3: dormant, use: yes. This week: Do add-sugar. Reason 3.");
  // Whenever it is to be used: without an urgency.
  CHECK(standing_line(Stand(State::doubtful).standing()) ==
        "K3 (pantry): doubtful, use: wake test first. Test a spoonful of K3 in warm sugar water "
        "for two days before you use it. Then tell `wake test K3 lively` or `wake test K3 quiet`. "
        "The model says so.");
  CHECK(standing_line(Stand(State::retired).standing()) ==
        "K3 (pantry): retired, use: no. It was retired.");
}

TEST_CASE("the words of use are published: each is found by its name, no other is") {
  for (const auto& [use, name] : {std::pair{Use::yes, "yes"},
                                  {Use::look_first, "look first"},
                                  {Use::wake_test_first, "wake test first"},
                                  {Use::no, "no"}}) {
    CHECK(use_name(use) == name);
    CHECK(use_named(name) == use);
  }
  CHECK_FALSE(use_named("maybe").has_value());
  CHECK_FALSE(use_named("").has_value());
}

}  // namespace torpor::rules
