// Tell sentences: text -> a checked act, or a refusal that says what was not understood, the
// nearest valid form and an example. Pure: ids are resolved later, by the ledger. BNF at the top of
// the .cpp.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/local_time.h"
#include "rules/culture/act.h"
#include "rules/culture/recipe.h"
#include "sensors/calibration.h"
#include "sensors/check_means.h"
#include "sensors/quantity.h"
#include "sensors/reading.h"

namespace torpor::daemon {

inline constexpr std::size_t kLongestSentence = 1024;  // bytes

using rules::culture::CookedWord;
using rules::culture::Cover;
using rules::culture::SugarKind;
enum class Vessel { glass, ceramic, clay, plastic };
[[nodiscard]] std::string_view vessel_name(Vessel vessel);
[[nodiscard]] std::string_view cover_name(Cover cover);  // "double kraft"
[[nodiscard]] std::string_view cooked_name(CookedWord cooked);
[[nodiscard]] std::string_view sugar_kind_name(SugarKind kind);

// new jar B-07 in cellar/shelf-2 stage IMO-2 rice 1200 g ... ; what is not said stays unknown.
struct NewJar {
  std::string jar, place;
  std::string stage;  // "IMO-2"; empty: unknown
  std::optional<Grams> rice, raw, sugar, topping, empty;
  std::optional<CookedWord> cooked;
  std::optional<Grams> cooked_weight;  // `cooked 1100 g`
  std::optional<SugarKind> sugar_kind;
  std::optional<Vessel> vessel;
  std::optional<double> volume_ml;
  std::optional<double> mouth_mm;
  std::optional<Cover> cover;
  std::optional<Instant> closed;  // local midnight of `closed 2026-03-02`
  std::string origin;
  std::vector<std::string> from;  // the jars and collections it was made from
  friend bool operator==(const NewJar&, const NewJar&) = default;
};
// new collection C-01 where "beech hollow, north slope" trees "beech" ... : what was brought in.
struct NewCollection {
  std::string collection;
  std::string where;
  std::string trees, weather, looked;  // empty: not said
  std::optional<Duration> lay;         // how long it lay out
  std::optional<Grams> rice;           // that was laid out
  std::optional<Instant> gathered;     // local midnight of `gathered 2026-02-20`
  friend bool operator==(const NewCollection&, const NewCollection&) = default;
};
// split 600 g from B-07 into B-08 in cellar/shelf-1 vessel glass 2 l cover paper
struct SplitJar {
  std::string from;
  Grams contents;
  NewJar made;  // place, vessel and cover; the rest it has from the other
  friend bool operator==(const SplitJar&, const SplitJar&) = default;
};
struct MoveJar {
  std::string jar;  // as told: an id, or a place for all that stands there; journaled: an id
  std::string place;
  friend bool operator==(const MoveJar&, const MoveJar&) = default;
};
struct TakeOut {  // `take 200 g from B-07 for "heap 4"`
  Grams contents;
  std::string purpose;  // empty: not said
  friend bool operator==(const TakeOut&, const TakeOut&) = default;
};
struct RetireJar {
  std::string because;
  friend bool operator==(const RetireJar&, const RetireJar&) = default;
};
// What was done to a jar or seen of it, but for moves.
using Deed = std::variant<rules::culture::AddSugar, TakeOut, rules::culture::Open,
                          rules::culture::ChangeCover, RetireJar, rules::culture::Look,
                          rules::culture::Weighing, rules::culture::Level,
                          rules::culture::Headspace, rules::culture::WakeTest>;
struct JarDeed {
  std::string jar;  // as MoveJar's
  Deed deed;
  friend bool operator==(const JarDeed&, const JarDeed&) = default;
};
struct WithdrawEntry {  // `withdraw entry 118 because "wrong jar"`
  std::uint64_t entry = 0;
  std::string because;
  friend bool operator==(const WithdrawEntry&, const WithdrawEntry&) = default;
};
struct DeferAlert {  // `defer alert 12 for 6 h because "moving tonight"`
  std::uint64_t alert = 0;
  Duration lasting{};
  std::string because;
  friend bool operator==(const DeferAlert&, const DeferAlert&) = default;
};
struct SeenAlert {  // `seen alert 12`, `seen`
  std::optional<std::uint64_t> number;
  friend bool operator==(const SeenAlert&, const SeenAlert&) = default;
};
struct Ask {  // `ask B-07`, `ask C-01`, `ask cellar/shelf-2`, `ask alerts`, `ask jars`
  std::string about;
  friend bool operator==(const Ask&, const Ask&) = default;
};
struct BeginCheck {    // `calibrate s1 in table salt`, `check s1 in ice`, `check s1 against 21 °C`
  std::string sensor;  // as told; journaled: as configured
  CheckMeans means;
  friend bool operator==(const BeginCheck&, const BeginCheck&) = default;
};
struct EndCheck {  // what came of it: the service's own entry, which no sentence tells
  std::string sensor;
  CheckMeans means;
  std::optional<Check> check;  // nullopt: no result
  friend bool operator==(const EndCheck&, const EndCheck&) = default;
};
// The board's clock was wrong while these entries were noted: what happened at `from` or later, as
// the clock went then, happened `by` later. The service's own entry, which no sentence tells.
struct DateAnew {
  std::uint64_t first = 0, last = 0;  // last < first: none
  Instant from;
  Duration by{};
  friend bool operator==(const DateAnew&, const DateAnew&) = default;
};
using Act = std::variant<NewJar, NewCollection, SplitJar, MoveJar, JarDeed, WithdrawEntry,
                         DeferAlert, SeenAlert, Ask, BeginCheck, EndCheck, DateAnew>;

struct Sentence {
  Act act;
  std::vector<std::string> also = {};   // further jars or places that the same act is about
  std::optional<Instant> at = {};       // `at 2026-03-02T18:30`
  std::string by = {};                  // `by "name"`; empty: not said
  std::vector<std::string> notes = {};  // taken for granted: "1 cup of sugar is taken as ..."
  friend bool operator==(const Sentence&, const Sentence&) = default;
};

// One line: what was not understood, the nearest valid form and, after kExampleMark, an example
// that parses.
struct SentenceRefusal {
  std::string text;
};
inline constexpr std::string_view kExampleMark = "for example: ";
// "WHAT; say: FORM; for example: EXAMPLE"; an empty form is left out. A question has no semicolon
// behind it.
[[nodiscard]] SentenceRefusal refusal(std::string_view what, std::string_view form,
                                      std::string_view example);

// 1-32 of ASCII letters, digits, '-' and '_'.
[[nodiscard]] bool is_jar_id(std::string_view text);

[[nodiscard]] tl::expected<Sentence, SentenceRefusal> parse_sentence(std::string_view text,
                                                                     const LocalTime& zone);

// The act as JSON for the journal, and back: act_from_json(act_to_json(a)) == a.
[[nodiscard]] std::string act_to_json(const Act& act);
[[nodiscard]] tl::expected<Act, std::string> act_from_json(std::string_view json);

}  // namespace torpor::daemon
