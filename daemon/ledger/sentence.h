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
#include "sensors/quantity.h"

namespace torpor::daemon {

inline constexpr std::size_t kLongestSentence = 1024;  // bytes

enum class Vessel { glass, ceramic, clay, plastic };
enum class Cover {
  tissue,
  cloth,
  paper,
  kraft,
  double_kraft,
  waxed_paper,
  film,
  lid_turned_back,
  tight_lid,
  airlock,
};
enum class CookedWord { dry, firm, soft };
enum class SugarKind { white, brown, raw };
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
  friend bool operator==(const NewJar&, const NewJar&) = default;
};
struct MoveJar {
  std::string jar, place;
  friend bool operator==(const MoveJar&, const MoveJar&) = default;
};
struct SeenAlert {  // `seen alert 12`, `seen`
  std::optional<std::uint64_t> number;
  friend bool operator==(const SeenAlert&, const SeenAlert&) = default;
};
struct Ask {  // `ask B-07`, `ask cellar/shelf-2`, `ask alerts`, `ask jars`
  std::string about;
  friend bool operator==(const Ask&, const Ask&) = default;
};
using Act = std::variant<NewJar, MoveJar, SeenAlert, Ask>;

struct Sentence {
  Act act;
  std::optional<Instant> at;  // `at 2026-03-02T18:30`
  std::string by;             // `by "name"`; empty: not said
  friend bool operator==(const Sentence&, const Sentence&) = default;
};

// One line: what was not understood, the nearest valid form and, after kExampleMark, an example
// that parses.
struct SentenceRefusal {
  std::string text;
};
inline constexpr std::string_view kExampleMark = "for example: ";
// "WHAT; say: FORM; for example: EXAMPLE"; an empty form is left out.
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
