// Moves, of one jar, of several or of a whole shelf; and which jars a sentence is about.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/names.h"
#include "daemon/ledger/stays.h"
#include "daemon/ledger/telling.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kMostMoved = 40;  // ids in one line

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

void add_new(std::vector<std::string>& ids, const std::string& id) {
  if (std::find(ids.begin(), ids.end(), id) == ids.end()) ids.push_back(id);
}

}  // namespace

tl::expected<std::vector<std::string>, SentenceRefusal> Ledger::jars_meant(
    std::string_view first, Instant at, std::string_view example_before,
    std::string_view example_behind, const Telling& telling) const {
  std::vector<std::string> told(1, std::string(first));
  told.insert(told.end(), telling.sentence.also.begin(), telling.sentence.also.end());
  const std::vector<std::string> places = telling.view.places();
  std::vector<std::string> ids;
  for (const std::string& one : told) {
    const auto place = place_called(places, one);
    if (!jar_names_.called(one).empty() || (!place && is_jar_id(one))) {
      const auto jar = jar_meant(one, example_before, example_behind);
      if (!jar) return tl::unexpected(jar.error());
      add_new(ids, (*jar)->made.jar);
      continue;
    }
    const auto meant = place_meant(places, one, "ask");
    if (!meant) return tl::unexpected(meant.error());
    const auto there = jars_at(*meant, at);
    if (there.empty()) {
      return tl::unexpected(refusal(fmt::format("no jar stands in {}", harmless(*meant)), "",
                                    fmt::format("ask {}", as_told(*meant))));
    }
    for (const std::string& id : there) add_new(ids, id);
  }
  return ids;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_one(const MoveJar& told_move,
                                                     const Telling& telling) {
  const auto at = moment_of(telling.sentence.at, "at", telling.now, telling.zone);
  if (!at) return tl::unexpected(at.error());
  const auto ids =
      jars_meant(told_move.jar, *at, "move", " to " + as_told(told_move.place), telling);
  if (!ids) return tl::unexpected(ids.error());
  auto place =
      place_meant(telling.view.places(), told_move.place, fmt::format("move {} to", ids->front()));
  if (!place) return tl::unexpected(place.error());
  return ids->size() == 1 ? tell_move(ids->front(), *place, *at, telling)
                          : tell_moves(*ids, *place, *at, telling);
}

tl::expected<Told, SentenceRefusal> Ledger::tell_moves(const std::vector<std::string>& ids,
                                                       const std::string& place, Instant at,
                                                       const Telling& telling) {
  Ledger after = *this;
  Told all;
  std::vector<std::string> moved;
  for (const std::string& id : ids) {
    // Of a whole shelf some may stand there already.
    if (move_fault(jars_.at(id), place, at) == MoveFault::already_there) continue;
    auto told = after.tell_move(id, place, at, telling);
    if (!told) return told;
    moved.push_back(id);
    std::move(told->entries.begin(), told->entries.end(), std::back_inserter(all.entries));
    std::move(told->inputs.begin(), told->inputs.end(), std::back_inserter(all.inputs));
    std::move(told->revised.begin(), told->revised.end(), std::back_inserter(all.revised));
  }
  if (moved.empty()) {
    return tl::unexpected(
        refusal(fmt::format("{} stand in {} already", listed(ids, kMostMoved), harmless(place)), "",
                fmt::format("ask {}", as_told(place))));
  }
  *this = std::move(after);
  const std::size_t stayed = ids.size() - moved.size();
  all.answer = fmt::format("{} jar{} ({}) moved to {}, {}{}", moved.size(),
                           moved.size() == 1 ? "" : "s", listed(moved, kMostMoved), harmless(place),
                           when_text(at, telling.now, telling.zone),
                           stayed > 0 ? fmt::format("; {} stood there already", stayed) : "");
  all.answer += fmt::format(" ({})", entries_text(all.entries));
  return all;
}

tl::expected<Told, SentenceRefusal> Ledger::tell_move(const std::string& id,
                                                      const std::string& place, Instant at,
                                                      const Telling& telling) {
  const LocalTime& zone = telling.zone;
  const MoveJar move{id, place};
  const Jar& before = jars_.at(id);
  if (const auto fault = move_fault(before, place, at)) {
    return tl::unexpected(
        refusal(move_fault_text(*fault, before, place, at, zone), "", fmt::format("ask {}", id)));
  }
  const std::string stood = before.stay_at(at)->place;
  const bool corrects = before.stay_at(at)->from == at;
  Told told;
  told.entries.push_back(entry_of(move, at, telling));
  if (auto applied = apply(told.entries.front(), move); !applied) {
    return tl::unexpected(refusal(applied.error(), "", fmt::format("ask {}", id)));
  }

  const Jar& moved = jars_.at(id);
  const Stay& stay = *moved.stay_at(at);
  const std::string from = when_text(at, telling.now, zone);
  const std::string instead =
      fmt::format("{} in {}", corrects ? "not, as noted before," : "before that", harmless(stood));
  if (stay.to) {
    told.answer = fmt::format(
        "{} stood in {} from {} until {}, {} (noted late); it stands in {} now as before (entry "
        "{})",
        id, harmless(stay.place), from, when_text(*stay.to, telling.now, zone), instead,
        harmless(moved.stays.back().place), told.entries.front().number);
  } else {
    told.inputs.push_back(rules::JarPlacedInput{id, stay.place, at});
    told.answer =
        fmt::format("{} stands in {} from {} on, {}; from then the air there is its air (entry {})",
                    id, harmless(stay.place), from, instead, told.entries.front().number);
  }
  // Its model has taken other air for its own since then.
  if (is_told_late(at, telling.now)) {
    told.inputs.push_back(rules::JarOutdatedInput{id, at});
    told.revised.push_back(revised_now(id, telling.view));
  }
  return told;
}

}  // namespace torpor::daemon
