#include "daemon/ledger/ledger.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/alert_answers.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/ask_answers.h"
#include "daemon/ledger/names.h"
#include "daemon/ledger/registration.h"
#include "daemon/ledger/stays.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

namespace {

using std::chrono::hours;

// Nothing that a keeper notes is older; a year typed wrong is found here (readings: the same
// limit).
constexpr Instant kEarliest = std::chrono::sys_days(std::chrono::year(2000) / 1 / 1);
// A person's clock and a `18:30` typed at 18:29 may be ahead of ours by this; it then means now.
constexpr Duration kAheadTolerance = std::chrono::minutes(5);
// Bubbling, sinking and a wet look are normal for so long (design: settling, first 14 days).
constexpr Duration kSettling = hours(14 * 24);

constexpr std::size_t kLongestTeller = 64;  // characters, as `by` in a sentence

// "Mon 2 Mar 18:30", with the year when it is not within half a year of now.
std::string when_text(Instant instant, Instant now, const LocalTime& zone) {
  constexpr Duration kNear = hours(182 * 24);
  const Duration apart = instant < now ? now - instant : instant - now;
  return apart < kNear ? zone.to_words(instant) : zone.to_text(instant);
}

std::string date_of(Instant instant, const LocalTime& zone) {
  return zone.to_text(instant).substr(0, 10);
}

// When it happened: `at`, but not ahead of now by more than clocks differ.
tl::expected<Instant, SentenceRefusal> moment_of(const std::optional<Instant>& said,
                                                 std::string_view word, Instant now,
                                                 const LocalTime& zone) {
  if (!said) return now;
  const std::string example = fmt::format("move B-07 to cellar/shelf-1 at {}", to_rfc3339(now));
  if (*said > now + kAheadTolerance) {
    return tl::unexpected(refusal(fmt::format("`{}` {} is in the future; now it is {}", word,
                                              zone.to_text(*said), zone.to_text(now)),
                                  "", example));
  }
  if (*said < kEarliest) {
    return tl::unexpected(refusal(
        fmt::format("`{}` {} is before 2000; is the year right?", word, zone.to_text(*said)), "",
        example));
  }
  return std::min(*said, now);
}

void add_sentence(std::string& answer, const std::string& sentence) {
  if (!sentence.empty()) answer += fmt::format(". {}", sentence);
}

std::string settling_text(const Jar& jar, Instant now, const LocalTime& zone) {
  const Instant settled = jar.closed() + kSettling;
  if (settled <= now) return "";
  return fmt::format("It settles until {}: bubbling, sinking and a wet look are normal till then",
                     date_of(settled, zone));
}

std::string move_fault_text(MoveFault fault, const Jar& jar, std::string_view place, Instant at,
                            const LocalTime& zone) {
  switch (fault) {
    case MoveFault::retired:
      return fmt::format("{} was retired on {} and moves no more", jar.made.jar,
                         date_of(*jar.retired_at, zone));
    case MoveFault::before_the_jar:
      return fmt::format("{} is in the ledger only from {} on, so it cannot have moved at {}",
                         jar.made.jar, zone.to_text(jar.registered_at), zone.to_text(at));
    case MoveFault::already_there:
      return fmt::format("{} stands in {} already, since {}", jar.made.jar, harmless(place),
                         zone.to_text(jar.stay_at(at)->from));
  }
  return "";
}

// Capital at the start of a clause that becomes a sentence.
std::string as_sentence(std::string clause) {
  if (!clause.empty() && clause.front() >= 'a' && clause.front() <= 'z') {
    clause.front() = static_cast<char>(clause.front() - 'a' + 'A');
  }
  return clause;
}

}  // namespace

struct Ledger::Telling {
  std::string_view text;
  const Sentence& sentence;
  Instant now, wall;
  const LocalTime& zone;
  const LedgerView& view;
};

const Jar* Ledger::find(std::string_view id) const {
  const auto called = jars_called(jars_, id);
  return called.size() == 1 ? called.front() : nullptr;
}

const std::map<std::string, Jar>& Ledger::jars() const { return jars_; }

std::vector<std::string> Ledger::jars_at(std::string_view place, Instant t) const {
  std::vector<std::string> ids;
  for (const auto& [id, jar] : jars_) {
    const Stay* stay = jar.stay_at(t);
    if (stay != nullptr && rules::is_at_or_below(stay->place, place)) ids.push_back(id);
  }
  return ids;
}

JournalEntry Ledger::entry_of(const Act& act, Instant happened_at, const Telling& telling) const {
  JournalEntry entry;
  entry.number = next_entry_;
  entry.happened_at = happened_at;
  entry.recorded_at = telling.wall;
  entry.by = telling.sentence.by;
  entry.sentence = std::string(telling.text);
  entry.act = act_to_json(act);
  return entry;
}

tl::expected<void, std::string> Ledger::apply(const NewJar& made, Instant happened_at) {
  if (const Jar* known = jar_with_id(jars_, made.jar)) {
    return tl::unexpected(fmt::format("jar {} exists already", known->made.jar));
  }
  Jar jar;
  jar.made = made;
  jar.registered_at = happened_at;
  jar.stays.push_back({made.place, happened_at, std::nullopt});
  jars_.emplace(made.jar, std::move(jar));
  return {};
}

tl::expected<void, std::string> Ledger::apply(const MoveJar& move, Instant happened_at) {
  const auto found = jars_.find(move.jar);
  if (found == jars_.end()) return tl::unexpected(fmt::format("there is no jar {}", move.jar));
  if (move_fault(found->second, move.place, happened_at)) {
    return tl::unexpected(fmt::format("jar {} cannot have moved to {} at {}", move.jar,
                                      harmless(move.place), to_rfc3339(happened_at)));
  }
  (void)record_move(found->second, move.place, happened_at);
  return {};
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const NewJar& told_jar,
                                                     const Telling& telling) {
  const LocalTime& zone = telling.zone;
  if (const Jar* known = jar_with_id(jars_, told_jar.jar)) {
    return tl::unexpected(refusal(
        fmt::format("jar {} exists since {}, and an id is never used again; give this jar another",
                    known->made.jar, date_of(known->registered_at, zone)),
        "", fmt::format("ask {}", known->made.jar)));
  }
  NewJar made = told_jar;
  auto place =
      place_meant(telling.view.places(), made.place, fmt::format("new jar {} in", made.jar));
  if (!place) return tl::unexpected(place.error());
  made.place = std::move(*place);
  if (const auto doubt = doubt_about(made)) {
    return tl::unexpected(refusal(
        *doubt, "",
        fmt::format("new jar {} in {} rice 1200 g raw 560 g sugar 1250 g vessel glass 3.8 l",
                    made.jar, as_told(made.place))));
  }
  const auto closed = moment_of(made.closed, "closed", telling.now, zone);
  if (!closed) return tl::unexpected(closed.error());
  if (made.closed) made.closed = *closed;
  const auto from =
      telling.sentence.at ? moment_of(telling.sentence.at, "at", telling.now, zone) : closed;
  if (!from) return tl::unexpected(from.error());
  if (made.closed && *from < *made.closed) {
    return tl::unexpected(
        refusal(fmt::format("`at` {} is before it was closed, {}; which is right?",
                            zone.to_text(*from), zone.to_text(*made.closed)),
                "",
                fmt::format("new jar {} in {} closed {}", made.jar, as_told(made.place),
                            date_of(*made.closed, zone))));
  }

  const auto alike = jars_called(jars_, made.jar);
  Told told;
  told.entries.push_back(entry_of(made, *from, telling));
  told.answer = fmt::format("{} is registered in {} from {} on", made.jar, harmless(made.place),
                            when_text(*from, telling.now, zone));
  if (made.closed) told.answer += fmt::format(", closed {}", date_of(*made.closed, zone));
  if (const std::string contents = contents_text(made); !contents.empty()) {
    told.answer += fmt::format(": {}", contents);
  }
  if (!alike.empty()) {
    add_sentence(told.answer, fmt::format("It is another jar than {}: write both in full",
                                          alike.front()->made.jar));
  }
  told.inputs.push_back(rules::JarPlacedInput{made.jar, made.place, *from});
  if (auto applied = apply(made, *from); !applied) {
    return tl::unexpected(refusal(applied.error(), "", "ask jars"));
  }
  ++next_entry_;
  add_sentence(told.answer, settling_text(jars_.at(made.jar), telling.now, zone));
  add_sentence(told.answer, as_sentence(missing_text(made)));
  add_sentence(told.answer, caution_text(made));
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const MoveJar& told_move,
                                                     const Telling& telling) {
  const LocalTime& zone = telling.zone;
  const auto jar = jar_meant(jars_, told_move.jar, "move", " to " + as_told(told_move.place));
  if (!jar) return tl::unexpected(jar.error());
  const std::string id = (*jar)->made.jar;
  auto place = place_meant(telling.view.places(), told_move.place, fmt::format("move {} to", id));
  if (!place) return tl::unexpected(place.error());
  const auto at = moment_of(telling.sentence.at, "at", telling.now, zone);
  if (!at) return tl::unexpected(at.error());

  const MoveJar move{id, std::move(*place)};
  if (const auto fault = move_fault(**jar, move.place, *at)) {
    return tl::unexpected(refusal(move_fault_text(*fault, **jar, move.place, *at, zone), "",
                                  fmt::format("ask {}", id)));
  }
  Told told;
  told.entries.push_back(entry_of(move, *at, telling));
  const std::string before = (*jar)->stay_at(*at)->place;
  const bool corrects = (*jar)->stay_at(*at)->from == *at;
  if (auto applied = apply(move, *at); !applied) {
    return tl::unexpected(refusal(applied.error(), "", fmt::format("ask {}", id)));
  }
  ++next_entry_;

  const Jar& moved = jars_.at(id);
  const Stay& stay = *moved.stay_at(*at);
  const std::string from = when_text(*at, telling.now, zone);
  const std::string instead =
      fmt::format("{} in {}", corrects ? "not, as noted before," : "before that", harmless(before));
  if (stay.to) {
    // The engine knows only where a jar stands now; the past is the exposure's.
    told.answer = fmt::format(
        "{} stood in {} from {} until {}, {} (noted late); it stands in {} now as before", id,
        harmless(stay.place), from, when_text(*stay.to, telling.now, zone), instead,
        harmless(moved.stays.back().place));
  } else {
    told.inputs.push_back(rules::JarPlacedInput{id, stay.place, *at});
    told.answer = fmt::format("{} stands in {} from {} on, {}; from then the air there is its air",
                              id, harmless(stay.place), from, instead);
  }
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const SeenAlert& seen,
                                                     const Telling& telling) {
  auto told = told_seen(seen, telling.sentence.by, telling.view.open_alerts());
  if (told && telling.sentence.at) told->answer += " (from now on; `at` does not reach back here)";
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const Ask& ask, const Telling& telling) {
  Told told;
  const std::vector<std::string> places = telling.view.places();
  if (ask.about == "alerts") {
    told.answer = alerts_answer(telling.view.open_alerts());
  } else if (ask.about == "jars") {
    told.answer = jars_answer(jars_);
  } else if (ask.about == "places") {
    told.answer = places_answer(places, jars_);
  } else {
    auto answer = about_answer(ask.about, jars_, places, telling.view);
    if (!answer) return tl::unexpected(answer.error());
    told.answer = std::move(*answer);
  }
  if (telling.sentence.at) told.answer += " (as it is now; `at` does not reach back here)";
  return told;
}

tl::expected<Told, SentenceRefusal> Ledger::tell(const Sentence& sentence, std::string_view text,
                                                 Instant now, Instant wall, const LocalTime& zone,
                                                 const LedgerView& view) {
  // A client's own name for itself reaches here unread by parse_sentence().
  Sentence cleaned = sentence;
  cleaned.by = harmless(sentence.by, kLongestTeller);
  const Telling telling{text, cleaned, now, wall, zone, view};
  return std::visit([&](const auto& act) { return tell_one(act, telling); }, sentence.act);
}

tl::expected<void, std::string> Ledger::replay(const JournalEntry& entry) {
  const auto refuse = [&](std::string_view why) {
    return tl::unexpected(fmt::format("journal entry {}: {}", entry.number, why));
  };
  if (entry.number < next_entry_) {
    return refuse(fmt::format("out of order, {} is the next", next_entry_));
  }
  next_entry_ = entry.number + 1;
  const auto act = act_from_json(entry.act);
  if (!act) return refuse(act.error());
  auto applied = tl::expected<void, std::string>(tl::unexpect, "an act that is never journaled");
  if (const auto* made = std::get_if<NewJar>(&*act)) applied = apply(*made, entry.happened_at);
  if (const auto* move = std::get_if<MoveJar>(&*act)) applied = apply(*move, entry.happened_at);
  if (!applied) return refuse(applied.error());
  return {};
}

std::vector<rules::Input> Ledger::placements() const {
  std::vector<rules::Input> inputs;
  for (const auto& [id, jar] : jars_) {
    if (jar.retired_at) continue;
    const Stay& stay = jar.stays.back();
    inputs.emplace_back(rules::JarPlacedInput{id, stay.place, stay.from});
  }
  return inputs;
}

}  // namespace torpor::daemon
