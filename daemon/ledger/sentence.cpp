// sentence = act { ending }
// ending   = "at" time | "by" text                              each at most once
// act      = new-jar | move | seen | ask
// new-jar  = "new" "jar" id { field }                           `in` must be among the fields
// field    = "in" text | "stage" text | "origin" text
//          | ( "rice" | "raw" | "sugar" | "topping" | "empty" ) weight
//          | "cooked" ( "dry" | "firm" | "soft" | weight )
//          | "sugar-kind" ( "white" | "brown" | "raw" )
//          | "vessel" [ "glass" | "ceramic" | "clay" | "plastic" ] [ volume ]   at least one
//          | "mouth" length | "cover" cover | "closed" time     each at most once, in any order
// move     = "move" id "to" text
// seen     = "seen" [ "alert" number ]
// ask      = "ask" text                                         id, place, alerts, jars or places
// id       = 1-32 letters, digits, "-", "_"
// text     = word | quoted
// time     = local time of the storeroom's zone, or RFC 3339
// weight, volume, length: see measures_text.cpp; words and quotes: see tokens.cpp.
// Keywords in any case. In `new jar` endings may stand between fields, and commas mean nothing.
//
// valid:   move B-07 to cellar/shelf-1 at 2026-03-02T18:30 by "Mara"
//          New jar b7 in "north cellar" rice 2 lb 10 oz, sugar 1,2 kg
//          seen     seen alert 12     ask alerts     ask cellar/shelf-2
// invalid: move B-07 cellar/shelf-1 (no `to`)        new jar B-07 rice 1200 g (no place)
//          new jar B-07 in cellar rice 1200 (no unit)  seen alert (no number)
//          move B-07 to cellar by Mara Huber (text of two words without quotes)
#include "daemon/ledger/sentence.h"

#include <fmt/format.h>

#include <array>
#include <charconv>
#include <utility>

#include "config/fault.h"
#include "daemon/ledger/cursor.h"
#include "daemon/ledger/new_jar_text.h"
#include "daemon/ledger/vocabulary.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kLongestPlace = 200;
constexpr std::size_t kLongestName = 64;

constexpr std::string_view kMoveForm = "move ID to PLACE";
constexpr std::string_view kMoveExample = "move B-07 to cellar/shelf-1";
constexpr std::string_view kSeenForm = "seen alert NUMBER, or seen for all of them";
constexpr std::string_view kSeenExample = "seen alert 12";
constexpr std::string_view kAskForm = "ask ID, ask PLACE, ask alerts, ask jars or ask places";
constexpr std::string_view kAskExample = "ask B-07";
constexpr std::string_view kWhatIsTaken = "new jar, move, seen or ask";

template <class T>
using Outcome = tl::expected<T, SentenceRefusal>;

// What the endings say.
struct Endings {
  std::optional<Instant> at;
  std::string by;
};

struct Verb {
  std::string_view words;
  std::string_view form;
  std::string_view example;
  Outcome<Act> (*read)(Cursor& cursor, Endings& endings, const LocalTime& zone);
};

bool at_ending(const Cursor& cursor) { return cursor.is_word("at") || cursor.is_word("by"); }

Outcome<void> read_ending(Cursor& cursor, Endings& endings, const LocalTime& zone) {
  constexpr std::string_view kAtExample = "move B-07 to cellar/shelf-1 at 2026-03-02T18:30";
  constexpr std::string_view kByExample = "move B-07 to cellar/shelf-1 by \"Mara\"";
  if (cursor.take("at")) {
    if (endings.at) return tl::unexpected(refusal("`at` is said twice", "at TIME", kAtExample));
    const auto at = cursor.take_time(zone);
    if (!at) return tl::unexpected(refusal("`at`: " + at.error(), "at TIME", kAtExample));
    endings.at = *at;
    return {};
  }
  (void)cursor.take("by");
  if (!endings.by.empty()) {
    return tl::unexpected(refusal("`by` is said twice", "by \"NAME\"", kByExample));
  }
  auto by = cursor.take_text("the name", kLongestName);
  if (!by) return tl::unexpected(refusal("`by`: " + by.error(), "by \"NAME\"", kByExample));
  endings.by = std::move(*by);
  return {};
}

Outcome<Act> read_new_jar(Cursor& cursor, Endings& endings, const LocalTime& zone) {
  NewJarReader reader(zone);
  if (auto id = reader.read_id(cursor); !id) return tl::unexpected(id.error());
  for (cursor.skip_commas(); !cursor.at_end(); cursor.skip_commas()) {
    const auto outcome =
        at_ending(cursor) ? read_ending(cursor, endings, zone) : reader.read_field(cursor);
    if (!outcome) return tl::unexpected(outcome.error());
  }
  auto jar = reader.finish();
  if (!jar) return tl::unexpected(jar.error());
  return Act(std::move(*jar));
}

Outcome<std::string> read_id(Cursor& cursor, std::string_view form, std::string_view example) {
  const std::string id(cursor.word());
  if (!is_jar_id(id)) {
    return tl::unexpected(refusal(cursor.at_end()
                                      ? std::string("the jar's id is missing")
                                      : fmt::format("{} is not a jar's id", cursor.found()),
                                  form, example));
  }
  cursor.skip();
  return id;
}

Outcome<Act> read_move(Cursor& cursor, Endings&, const LocalTime&) {
  auto jar = read_id(cursor, kMoveForm, kMoveExample);
  if (!jar) return tl::unexpected(jar.error());
  if (!cursor.take("to")) {
    const bool several = is_jar_id(cursor.word()) && !at_ending(cursor);
    return tl::unexpected(
        refusal(fmt::format("`to` is missing, {} stands in its place{}", cursor.found(),
                            several ? "; this version moves one jar a sentence" : ""),
                kMoveForm, fmt::format("move {} to cellar/shelf-1", *jar)));
  }
  const bool missing = cursor.at_end() || at_ending(cursor);
  auto place = missing ? tl::expected<std::string, std::string>(tl::unexpect,
                                                                "the place behind `to` is missing")
                       : cursor.take_text("the place", kLongestPlace);
  if (!place) {
    return tl::unexpected(
        refusal(place.error(), kMoveForm, fmt::format("move {} to cellar/shelf-1", *jar)));
  }
  return Act(MoveJar{std::move(*jar), std::move(*place)});
}

Outcome<Act> read_seen(Cursor& cursor, Endings&, const LocalTime&) {
  const bool named = cursor.take("alert");
  std::string_view digits = cursor.word();
  if (!named && (digits.empty() || at_ending(cursor))) return Act(SeenAlert{});
  if (!digits.empty() && digits.front() == '#') digits.remove_prefix(1);
  std::uint64_t number = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  if (digits.empty() || error != std::errc() || end != digits.data() + digits.size() ||
      number == 0) {
    return tl::unexpected(refusal(cursor.at_end()
                                      ? std::string("the alert's number is missing")
                                      : fmt::format("{} is not an alert's number", cursor.found()),
                                  kSeenForm, kSeenExample));
  }
  cursor.skip();
  return Act(SeenAlert{number});
}

Outcome<Act> read_ask(Cursor& cursor, Endings&, const LocalTime&) {
  if (cursor.at_end() || at_ending(cursor)) {
    return tl::unexpected(refusal("what to ask about is missing", kAskForm, kAskExample));
  }
  for (const std::string_view whole : {"alerts", "jars", "places"}) {
    if (cursor.take(whole)) return Act(Ask{std::string(whole)});
  }
  auto about = cursor.take_text("what to ask about", kLongestPlace);
  if (!about) return tl::unexpected(refusal(about.error(), kAskForm, kAskExample));
  return Act(Ask{std::move(*about)});
}

constexpr std::array kVerbs = {
    Verb{"new jar", kNewJarForm, kNewJarExample, read_new_jar},
    Verb{"move", kMoveForm, kMoveExample, read_move},
    Verb{"seen", kSeenForm, kSeenExample, read_seen},
    Verb{"ask", kAskForm, kAskExample, read_ask},
};

// Sentences of the ledger to come. They are named so that the answer is not "did you mean".
constexpr std::array<std::string_view, 11> kLater = {
    "add",     "weigh",     "take",   "open",     "cover", "observe",
    "measure", "wake test", "retire", "withdraw", "defer",
};
// What an observation without `observe` begins with, behind its jars.
constexpr std::array<std::string_view, 21> kObservations = {
    "bubbling", "rising", "sinking",  "syrup", "crystals", "crust", "wet",
    "drops",    "warm",   "pressure", "sweet", "alcohol",  "sour",  "rotten",
    "white",    "green",  "black",    "pink",  "insects",  "all",   "well",
};

SentenceRefusal later_version(std::string_view verb) {
  return refusal(fmt::format("`{}` is not in this version of torpor and nothing was recorded; "
                             "please note it on the jar's label",
                             verb),
                 kWhatIsTaken, kAskExample);
}

bool tells_an_observation(const Cursor& cursor) {
  for (std::size_t i = 1; cursor.peek(i) != nullptr; ++i) {
    for (const std::string_view word : kObservations) {
      if (same_word(cursor.word(i), word)) return true;
    }
  }
  return false;
}

SentenceRefusal unknown_verb(const Cursor& cursor) {
  for (const std::string_view verb : kLater) {
    Cursor ahead = cursor;
    if (ahead.take(verb)) return later_version(verb);
  }
  std::vector<std::string> first_words;
  for (const Verb& verb : kVerbs) {
    first_words.emplace_back(verb.words.substr(0, verb.words.find(' ')));
  }
  const std::string nearest = config::nearest_word(std::string(cursor.word()), first_words);
  for (const Verb& verb : kVerbs) {
    if (!nearest.empty() && verb.words.substr(0, nearest.size()) == nearest) {
      return refusal(fmt::format("{} is not understood; is it `{}`?", cursor.found(), verb.words),
                     verb.form, verb.example);
    }
  }
  if (tells_an_observation(cursor)) return later_version("observe");
  return refusal(fmt::format("{} does not begin a sentence", cursor.found()), kWhatIsTaken,
                 kAskExample);
}

Outcome<Sentence> read_sentence(Cursor& cursor, const LocalTime& zone) {
  for (const Verb& verb : kVerbs) {
    if (!cursor.take(verb.words)) continue;
    Endings endings;
    auto act = verb.read(cursor, endings, zone);
    if (!act) return tl::unexpected(act.error());
    for (cursor.skip_commas(); !cursor.at_end(); cursor.skip_commas()) {
      if (!at_ending(cursor)) {
        return tl::unexpected(refusal(
            fmt::format("{} is too much; only `at` and `by` may follow, and text of several words "
                        "goes in quotes",
                        cursor.found()),
            verb.form, verb.example));
      }
      if (const auto ending = read_ending(cursor, endings, zone); !ending) {
        return tl::unexpected(ending.error());
      }
    }
    return Sentence{std::move(*act), endings.at, std::move(endings.by)};
  }
  if (cursor.is_word("new")) {
    return tl::unexpected(refusal("`new` needs `jar` behind it", kNewJarForm, kNewJarExample));
  }
  return tl::unexpected(unknown_verb(cursor));
}

}  // namespace

SentenceRefusal refusal(std::string_view what, std::string_view form, std::string_view example) {
  return {form.empty() ? fmt::format("{}; {}{}", what, kExampleMark, example)
                       : fmt::format("{}; say: {}; {}{}", what, form, kExampleMark, example)};
}

bool is_jar_id(std::string_view text) {
  constexpr std::size_t kLongestId = 32;
  constexpr std::string_view kAllowed =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  return !text.empty() && text.size() <= kLongestId &&
         text.find_first_not_of(kAllowed) == std::string_view::npos;
}

tl::expected<Sentence, SentenceRefusal> parse_sentence(std::string_view text,
                                                       const LocalTime& zone) {
  if (text.size() > kLongestSentence) {
    return tl::unexpected(refusal(fmt::format("the sentence is {} bytes long and {} are the most",
                                              text.size(), kLongestSentence),
                                  kWhatIsTaken, kAskExample));
  }
  auto tokens = split_sentence(text);
  if (!tokens) return tl::unexpected(refusal(tokens.error(), kWhatIsTaken, kAskExample));
  Cursor cursor(std::move(*tokens));
  cursor.skip_commas();
  if (cursor.at_end()) {
    return tl::unexpected(refusal("the sentence is empty", kWhatIsTaken, kAskExample));
  }
  return read_sentence(cursor, zone);
}

}  // namespace torpor::daemon
