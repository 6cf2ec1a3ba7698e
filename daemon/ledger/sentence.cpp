// sentence = act { ending }
// ending   = "at" time | "by" text                              each at most once
// act      = new-jar | gathered | split | move | deed | withdraw | defer | seen | ask | check
// new-jar  = "new" "jar" id { field }                           `in` must be among the fields
// gathered = "new" "collection" id { found }                    `where` must be among them
// found    = ( "where" | "trees" | "weather" | "looked" ) text | "lay" duration | "rice" weight
//          | "gathered" time                                    each at most once, in any order
// split    = "split" weight "from" jar "into" id { field }      `in`, vessel, empty, mouth, cover
// field    = "in" text | "stage" text | "origin" text
//          | "from" id { "and" id }                             jars and collections
//          | ( "rice" | "raw" | "sugar" | "topping" | "empty" ) weight
//          | "cooked" ( "dry" | "firm" | "soft" | weight )
//          | "sugar-kind" ( "white" | "brown" | "raw" )
//          | "vessel" [ "glass" | "ceramic" | "clay" | "plastic" ] [ volume ]   at least one
//          | "mouth" length | "cover" cover | "closed" time     each at most once, in any order
// move     = "move" about "to" text
// deed     = "add" { "sugar" | sugar-kind | manner } weight "to" about [ manner ]
//          | "take" weight "from" jar [ "for" text ]
//          | "open" about | "cover" about "with" cover
//          | "weigh" jar weight [ "with vessel" ]
//          | "measure" jar ( "level" length | "headspace" humidity )
//          | [ "observe" ] about sign { sign }
//          | "wake test" jar ( "lively" | "quiet" ) | "retire" about "because" text
// about    = jar { jar }                                        "and" and commas may part them
// jar      = id, or a place for every jar at it or below
// manner   = "stirred in" | "on top"                            not said: on top
// withdraw = "withdraw" [ "entry" ] number "because" text
// defer    = "defer" [ "alert" ] number "for" duration "because" text
// seen     = "seen" [ "alert" number ]
// ask      = "ask" text       id, place, sensor, alerts, jars, places or collections
// check    = ( "calibrate" | "check" ) id
//            ( "in" ( salt | "ice" ) | "against" value [ "within" value ] )
// value    = of temperature or humidity: see check_text.cpp; salts: see sensors/salts.cpp
// id       = 1-32 letters, digits, "-", "_"
// text     = word | quoted
// time     = local time of the storeroom's zone, or RFC 3339
// weight, volume, length, duration, humidity: see measures_text.cpp; weights of what goes into or
// comes out of a jar also in cups; small numbers also in words. Signs and covers: see
// vocabulary.cpp; words and quotes: see tokens.cpp. Keywords in any case. Between fields endings
// may stand, and commas mean nothing.
//
// valid:   move B-07 to cellar/shelf-1 at 2026-03-02T18:30 by "Mara"
//          New jar b7 in "north cellar" rice 2 lb 10 oz, sugar 1,2 kg
//          seen     seen alert 12     ask alerts     ask cellar/shelf-2
//          new collection C-01 where "beech hollow, north slope" lay 5 d gathered 2026-02-20
//          new jar B-09 in cellar stage IMO-3 from B-03 and B-05
//          add two cups of brown sugar to B-07 stirred in      B-01, B-02 and B-03 all well
// invalid: move B-07 cellar/shelf-1 (no `to`)        new jar B-07 rice 1200 g (no place)
//          new jar B-07 in cellar rice 1200 (no unit)  seen alert (no number)
//          move B-07 to cellar by Mara Huber (text of two words without quotes)
#include "daemon/ledger/sentence.h"

#include <fmt/format.h>

#include <array>
#include <utility>

#include "config/fault.h"
#include "daemon/ledger/check_text.h"
#include "daemon/ledger/cursor.h"
#include "daemon/ledger/deed_text.h"
#include "daemon/ledger/new_collection_text.h"
#include "daemon/ledger/new_jar_text.h"
#include "daemon/ledger/verb.h"
#include "daemon/ledger/vocabulary.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kLongestPlace = 200;
constexpr std::size_t kLongestName = 64;

constexpr std::string_view kMoveForm = "move ID to PLACE";
constexpr std::string_view kMoveExample = "move B-07 to cellar/shelf-1";
constexpr std::string_view kSeenForm = "seen alert NUMBER, or seen for all of them";
constexpr std::string_view kSeenExample = "seen alert 12";
constexpr std::string_view kAskForm =
    "ask ID, ask PLACE, ask SENSOR, ask alerts, ask jars, ask places or ask collections";
constexpr std::string_view kAskExample = "ask B-07";
constexpr std::string_view kWithdrawForm = "withdraw entry NUMBER because \"WHY\"";
constexpr std::string_view kWithdrawExample = "withdraw entry 118 because \"wrong jar\"";
constexpr std::string_view kDeferForm = "defer alert NUMBER for TIME because \"WHY\"";
constexpr std::string_view kDeferExample = "defer alert 12 for 6 h because \"moving tonight\"";
constexpr std::string_view kWhatIsTaken =
    "new jar, new collection, split, move, add, take, open, cover, weigh, measure, observe, wake "
    "test, retire, withdraw, defer, seen, ask, calibrate or check";

template <class T>
using Outcome = tl::expected<T, SentenceRefusal>;

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

template <class Made>
Outcome<void> read_fields(Cursor& cursor, FieldReader<Made>& reader, Made& made, Endings& endings,
                          const LocalTime& zone) {
  for (cursor.skip_commas(); !cursor.at_end(); cursor.skip_commas()) {
    auto outcome =
        at_ending(cursor) ? read_ending(cursor, endings, zone) : reader.read_field(cursor, made);
    if (!outcome) return outcome;
  }
  return {};
}

Outcome<Sentence> read_new_jar(Cursor& cursor, Endings& endings, const LocalTime& zone) {
  FieldReader<NewJar> reader(new_jar_fields(), kNewJarForms, zone);
  NewJar jar;
  auto id = reader.read_id(cursor);
  if (!id) return tl::unexpected(id.error());
  jar.jar = std::move(*id);
  if (auto read = read_fields(cursor, reader, jar, endings, zone); !read) {
    return tl::unexpected(read.error());
  }
  if (jar.place.empty()) {
    return tl::unexpected(refusal(fmt::format("where {} stands is missing", jar.jar), kNewJarForm,
                                  fmt::format("new jar {} in cellar/shelf-2", jar.jar)));
  }
  return Sentence{std::move(jar)};
}

Outcome<Sentence> read_new_collection(Cursor& cursor, Endings& endings, const LocalTime& zone) {
  FieldReader<NewCollection> reader(new_collection_fields(), kNewCollectionForms, zone);
  NewCollection collection;
  auto id = reader.read_id(cursor);
  if (!id) return tl::unexpected(id.error());
  collection.collection = std::move(*id);
  if (auto read = read_fields(cursor, reader, collection, endings, zone); !read) {
    return tl::unexpected(read.error());
  }
  if (collection.where.empty()) {
    return tl::unexpected(refusal(
        fmt::format("where {} was gathered is missing", collection.collection), kNewCollectionForm,
        fmt::format("new collection {} where \"beech hollow, north slope\"",
                    collection.collection)));
  }
  return Sentence{std::move(collection)};
}

Outcome<Sentence> read_split(Cursor& cursor, Endings& endings, const LocalTime& zone) {
  const auto refuse = [](std::string_view what) {
    return tl::unexpected(refusal(what, kSplitForm, kSplitExample));
  };
  const auto weight = cursor.take_weight(Substance::contents);
  if (!weight) return refuse(weight.error());
  if (!cursor.take("from")) {
    return refuse(fmt::format("`from` is missing, {} stands in its place", cursor.found()));
  }
  SplitJar split;
  split.contents = *weight;
  auto from = cursor.at_end() ? tl::expected<std::string, std::string>(
                                    tl::unexpect, "the jar behind `from` is missing")
                              : cursor.take_text("the jar it comes from", kLongestPlace);
  if (!from) return refuse(from.error());
  split.from = std::move(*from);
  if (!cursor.take("into") && !cursor.take("to")) {
    return refuse(fmt::format("`into` is missing, {} stands in its place", cursor.found()));
  }
  FieldReader<NewJar> reader(split_fields(), kSplitForms, zone);
  auto id = reader.read_id(cursor);
  if (!id) return tl::unexpected(id.error());
  split.made.jar = std::move(*id);
  if (auto read = read_fields(cursor, reader, split.made, endings, zone); !read) {
    return tl::unexpected(read.error());
  }
  if (split.made.place.empty()) {
    return refuse(fmt::format("where {} stands is missing", split.made.jar));
  }
  return Sentence{std::move(split)};
}

Outcome<Sentence> read_move(Cursor& cursor, Endings&, const LocalTime&) {
  auto about = read_about(cursor, "to", kMoveForm, kMoveExample);
  if (!about) return tl::unexpected(about.error());
  const std::string example = fmt::format("move {} to cellar/shelf-1", as_told(about->front()));
  if (!cursor.take("to")) {
    return tl::unexpected(
        refusal(fmt::format("`to` is missing, {} stands in its place", cursor.found()), kMoveForm,
                example));
  }
  const bool missing = cursor.at_end() || at_ending(cursor);
  auto place = missing ? tl::expected<std::string, std::string>(tl::unexpect,
                                                                "the place behind `to` is missing")
                       : cursor.take_text("the place", kLongestPlace);
  if (!place) return tl::unexpected(refusal(place.error(), kMoveForm, example));
  return about_jars(MoveJar{"", std::move(*place)}, std::move(*about));
}

Outcome<std::uint64_t> read_number_of(Cursor& cursor, std::string_view what, std::string_view form,
                                      std::string_view example) {
  if (const auto number = cursor.take_count()) return *number;
  return tl::unexpected(refusal(cursor.at_end()
                                    ? fmt::format("the {} number is missing", what)
                                    : fmt::format("{} is not an {} number", cursor.found(), what),
                                form, example));
}

Outcome<Sentence> read_withdraw(Cursor& cursor, Endings&, const LocalTime&) {
  (void)cursor.take("entry");
  const auto entry = read_number_of(cursor, "entry's", kWithdrawForm, kWithdrawExample);
  if (!entry) return tl::unexpected(entry.error());
  auto because = read_because(cursor, kWithdrawForm, kWithdrawExample);
  if (!because) return tl::unexpected(because.error());
  return Sentence{WithdrawEntry{*entry, std::move(*because)}};
}

Outcome<Sentence> read_defer(Cursor& cursor, Endings&, const LocalTime&) {
  (void)cursor.take("alert");
  const auto alert = read_number_of(cursor, "alert's", kDeferForm, kDeferExample);
  if (!alert) return tl::unexpected(alert.error());
  if (!cursor.take("for")) {
    return tl::unexpected(refusal("`for` and how long are missing", kDeferForm, kDeferExample));
  }
  const auto lasting_h = cursor.take_measure(Dimension::duration);
  if (!lasting_h) return tl::unexpected(refusal(lasting_h.error(), kDeferForm, kDeferExample));
  // The engine's own limit, rules::kLongestDeferral, which this room's parser needs no engine for.
  constexpr double kLongest = 7.0 * 24;
  if (*lasting_h <= 0 || *lasting_h > kLongest) {
    return tl::unexpected(refusal("an alert is deferred for more than no time and at most 7 d",
                                  kDeferForm, kDeferExample));
  }
  auto because = read_because(cursor, kDeferForm, kDeferExample);
  if (!because) return tl::unexpected(because.error());
  const auto lasting =
      std::chrono::round<Duration>(std::chrono::duration<double, std::ratio<3600>>(*lasting_h));
  return Sentence{DeferAlert{*alert, lasting, std::move(*because)}};
}

Outcome<Sentence> read_seen(Cursor& cursor, Endings&, const LocalTime&) {
  const bool named = cursor.take("alert");
  if (!named && (cursor.word().empty() || at_ending(cursor))) return Sentence{SeenAlert{}};
  return read_number_of(cursor, "alert's", kSeenForm, kSeenExample).map([](std::uint64_t number) {
    return Sentence{SeenAlert{number}};
  });
}

Outcome<Sentence> read_ask(Cursor& cursor, Endings&, const LocalTime&) {
  if (cursor.at_end() || at_ending(cursor)) {
    return tl::unexpected(refusal("what to ask about is missing", kAskForm, kAskExample));
  }
  for (const std::string_view whole : {"alerts", "jars", "places", "collections"}) {
    if (cursor.take(whole)) return Sentence{Ask{std::string(whole)}};
  }
  auto about = cursor.take_text("what to ask about", kLongestPlace);
  if (!about) return tl::unexpected(refusal(about.error(), kAskForm, kAskExample));
  return Sentence{Ask{std::move(*about)}};
}

Outcome<Sentence> read_begin_check(Cursor& cursor, Endings&, const LocalTime&) {
  return read_check(cursor).map([](BeginCheck begin) { return Sentence{std::move(begin)}; });
}

constexpr std::array kVerbs = {
    Verb{"new jar", kNewJarForm, kNewJarExample, read_new_jar},
    Verb{"new collection", kNewCollectionForm, kNewCollectionExample, read_new_collection},
    Verb{"split", kSplitForm, kSplitExample, read_split},
    Verb{"move", kMoveForm, kMoveExample, read_move},
    Verb{"withdraw", kWithdrawForm, kWithdrawExample, read_withdraw},
    Verb{"defer", kDeferForm, kDeferExample, read_defer},
    Verb{"seen", kSeenForm, kSeenExample, read_seen},
    Verb{"ask", kAskForm, kAskExample, read_ask},
    Verb{"calibrate", kCheckForm, kCheckExample, read_begin_check},
    Verb{"check", kCheckForm, kCheckExample, read_begin_check},
};

// Of both tables.
std::vector<Verb> all_verbs() {
  std::vector<Verb> all(kVerbs.begin(), kVerbs.end());
  all.insert(all.end(), deed_verbs().begin(), deed_verbs().end());
  return all;
}

SentenceRefusal unknown_verb(const Cursor& cursor, const std::vector<Verb>& verbs) {
  std::vector<std::string> first_words;
  first_words.reserve(verbs.size());
  for (const Verb& verb : verbs) {
    first_words.emplace_back(verb.words.substr(0, verb.words.find(' ')));
  }
  const std::string nearest = config::nearest_word(std::string(cursor.word()), first_words);
  for (const Verb& verb : verbs) {
    if (!nearest.empty() && verb.words.substr(0, nearest.size()) == nearest) {
      return refusal(fmt::format("{} is not understood; is it `{}`?", cursor.found(), verb.words),
                     verb.form, verb.example);
    }
  }
  return refusal(fmt::format("{} does not begin a sentence", cursor.found()), kWhatIsTaken,
                 kAskExample);
}

// The act, and what follows it.
Outcome<Sentence> read_told(Cursor& cursor, const Verb& verb, const LocalTime& zone) {
  Endings endings;
  auto sentence = verb.read(cursor, endings, zone);
  if (!sentence) return sentence;
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
  sentence->at = endings.at;
  sentence->by = std::move(endings.by);
  sentence->notes = cursor.notes();
  return sentence;
}

Outcome<Sentence> read_sentence(Cursor& cursor, const LocalTime& zone) {
  const std::vector<Verb> verbs = all_verbs();
  for (const Verb& verb : verbs) {
    if (cursor.take(verb.words)) return read_told(cursor, verb, zone);
  }
  if (cursor.is_word("new")) {
    return tl::unexpected(
        refusal("`new` needs `jar` or `collection` behind it", kNewJarForm, kNewJarExample));
  }
  if (cursor.is_word("wake")) {
    return tl::unexpected(
        refusal("`wake` needs `test` behind it", "wake test ID lively", "wake test B-07 lively"));
  }
  if (tells_an_observation(cursor)) {
    for (const Verb& verb : verbs) {
      if (verb.words == "observe") return read_told(cursor, verb, zone);
    }
  }
  return tl::unexpected(unknown_verb(cursor, verbs));
}

}  // namespace

SentenceRefusal refusal(std::string_view what, std::string_view form, std::string_view example) {
  // A question ends by itself.
  const std::string_view end = what.ends_with('?') ? " " : "; ";
  return {form.empty() ? fmt::format("{}{}{}{}", what, end, kExampleMark, example)
                       : fmt::format("{}{}say: {}; {}{}", what, end, form, kExampleMark, example)};
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
